"""Pretend phones: an HTTP text gateway that keeps what it is sent, shows it on a page, and lets people answer."""

from __future__ import annotations

from dataclasses import asdict
from http import HTTPStatus
from typing import Annotated, Any, Final, Literal

from fastapi import FastAPI, Form, Header, HTTPException
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from simulator import books, farm
from simulator.clock import FarmClock
from simulator.inbox import Inbox, Incoming
from simulator.phone_page import Phone, page_of
from simulator.way_back import NOT_SET_UP, WayBack

MOST_LETTERS: Final = 480


def phone_app(inbox: Inbox, clock: FarmClock, way_back: WayBack | None = None) -> FastAPI:
    """``POST /send``, ``GET /texts``, ``GET /answers``, ``POST /phones/...`` and the page at ``/``."""
    app = FastAPI(title=f"Pretend phones ({farm.INVENTED})")
    _take_texts(app, inbox, way_back)
    _let_people_act(app, inbox, way_back)

    @app.get("/texts")
    def texts() -> list[dict[str, Any]]:
        return [asdict(received) for received in inbox.texts()]

    @app.get("/answers")
    def answers() -> list[dict[str, Any]]:
        return [asdict(written) for written in inbox.written()]

    @app.get("/", response_class=HTMLResponse)
    def page() -> str:
        return page_of(phones(inbox), clock.farm_now_ms(), can_answer=way_back is not None)

    return app


def phones(inbox: Inbox) -> list[Phone]:
    """One for everybody in the farm's books, and one for every other number that was texted."""
    texts, written = inbox.texts(), inbox.written()
    numbers = list(dict.fromkeys([*books.OWNERS, *(text.to for text in texts)]))
    return [
        Phone(
            number=number,
            owner=books.OWNERS.get(number),
            is_off=inbox.is_off(number),
            texts=tuple(text for text in texts if text.to == number),
            written=tuple(one for one in written if one.phone == number),
        )
        for number in numbers
    ]


def _take_texts(app: FastAPI, inbox: Inbox, way_back: WayBack | None) -> None:
    @app.post("/send")
    def send(incoming: Incoming, idempotency_key: Annotated[str | None, Header()] = None) -> dict[str, Any]:
        received, repeat = inbox.take(incoming, idempotency_key)
        if way_back is not None and not repeat and received.arrived_ms is not None:
            way_back.receipt_soon(inbox, received)
        return {"number": received.number, "repeat": repeat}


def _let_people_act(app: FastAPI, inbox: Inbox, way_back: WayBack | None) -> None:
    @app.post("/phones/{name}/answers")
    def answer(
        name: str,
        text: Annotated[str, Form(min_length=1, max_length=MOST_LETTERS, pattern=r"\S")],
        accept: Annotated[str, Header()] = "",
    ) -> Response:
        phone = _phone(inbox, name)
        written = inbox.write(phone.number, text.strip())
        came_back = NOT_SET_UP if way_back is None else way_back.answer(written)
        return _after(phone, asdict(inbox.note_answer(written.number, came_back)), accept)

    @app.post("/phones/{name}/switch")
    def switch(
        name: str, to: Annotated[Literal["on", "off"], Form()], accept: Annotated[str, Header()] = ""
    ) -> Response:
        phone = _phone(inbox, name)
        if to == "off":
            inbox.switch_off(phone.number)
            return _after(phone, {"switched": to, "arrived": 0}, accept)
        arrived = inbox.switch_on(phone.number)
        if way_back is not None:
            for received in arrived:
                way_back.receipt_soon(inbox, received)
        return _after(phone, {"switched": to, "arrived": len(arrived)}, accept)


def _phone(inbox: Inbox, name: str) -> Phone:
    """By the short name of its owner, or by its number."""
    for phone in phones(inbox):
        if name in {phone.name, phone.number}:
            return phone
    raise HTTPException(HTTPStatus.NOT_FOUND, f"no phone {name!r} here")


def _after(phone: Phone, said: dict[str, Any], accept: str) -> Response:
    """A browser goes back to the phone; any other program is told what came of it."""
    if "text/html" in accept:
        return RedirectResponse(f"/#{phone.name}", status_code=HTTPStatus.SEE_OTHER)
    return JSONResponse(said)
