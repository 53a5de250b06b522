"""The addresses of the pages: the round sheet, a room, and one form."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Final

from fastapi import APIRouter, FastAPI, Form, HTTPException, Request
from fastapi.responses import RedirectResponse
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response

from service.errors import NotFound, NotUnderstood
from service.reports.night import Books, read_ledger, room_night
from service.reports.round_sheet import round_sheet
from service.reports.span import Span, newest_span, night_span
from service.storage import people
from service.storage.holds import holds_of
from service.watch.desk import Desk
from service.watch.on_call import call_list
from service.watch.replies import come_out_of
from service.watch.respond import Word, answer
from service.web import moving_pages, truth_pages, working_pages
from service.web.answering import add_answering
from service.web.paper import STATIC, page, words_of
from service.web.room_page import room_page
from service.web.same_site import SameSite
from service.web.sheet_page import sheet_page
from service.web.trouble import PageRoute
from service.web.truth_form import asked_whom
from service.web.who import COOKIE, remember

_WORTH_PACKING: Final = 1000
PAGE_WORDS: Final = frozenset({Word.GOING, Word.CANNOT, Word.OUT, Word.FIXED, Word.PROBE})

router = APIRouter(route_class=PageRoute, include_in_schema=False)


def add_pages(app: FastAPI) -> None:
    """Add the pages to the application. Call this last: what no other route knows is answered in words here."""
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    add_answering(app)
    app.include_router(moving_pages.router)
    app.include_router(working_pages.router)
    app.include_router(truth_pages.router)
    app.include_router(router)
    app.add_middleware(GZipMiddleware, minimum_size=_WORTH_PACKING)
    app.add_middleware(SameSite)


@router.get("/")
async def show_sheet(request: Request, night: str = "") -> Response:
    """The round sheet, the worst room first."""
    desk: Desk = request.app.state.desk
    async with desk.database.read() as connection:
        books = Books(connection=connection, farm=desk.farm, profiles=desk.catalogue)
        on_call = await call_list(connection, desk.farm, at_ms=desk.clock.now_ms(), room_id=None)
        sheet = await round_sheet(books, _span(desk, night), on_call=on_call)
        everyone = await people.all_people(connection, desk.farm_id)
    whom = asked_whom(everyone, request.cookies.get(COOKIE, ""))
    return page(desk, "sheet.html", sheet=sheet_page(sheet, words_of(desk), whom))


@router.get("/rooms/{room_id}")
async def show_room(request: Request, room_id: str, night: str = "") -> Response:
    """One room: now, who is going, and a night."""
    desk: Desk = request.app.state.desk
    span, now_ms = _span(desk, night), desk.clock.now_ms()
    async with desk.database.read() as connection:
        books = Books(connection=connection, farm=desk.farm, profiles=desk.catalogue)
        told = await room_night(books, room_id, span, await read_ledger(books, span))
        everyone = await people.all_people(connection, desk.farm_id)
        held = await holds_of(connection, desk.farm_id, room_id, from_ms=now_ms)
    shown = room_page(
        told,
        words_of(desk),
        held_back=[row for row in held if row.is_on(now_ms)],
        people=everyone,
        whoever=request.cookies.get(COOKIE, ""),
        newest=newest_span(desk.farm, desk.clock.now_ms()).evening,
    )
    return page(desk, "room.html", room=shown)


@router.post("/rooms/{room_id}/answers")
async def take_answer(
    request: Request,
    room_id: str,
    person_id: Annotated[str, Form()] = "",
    word: Annotated[str, Form()] = "",
) -> Response:
    """Somebody says that they are going, or cannot; are out again, or what it was."""
    desk: Desk = request.app.state.desk
    if not person_id:
        raise NotUnderstood("nobody was chosen: say first who you are")
    if word not in PAGE_WORDS:
        raise NotUnderstood("the answer is either going or cannot, out, fixed, or that it was the probe")
    said = {"room_id": room_id, "person_id": person_id, "way": "page"}
    if word == Word.OUT:
        await come_out_of(desk, **said)
    else:
        await answer(desk.database, desk.farm_id, word=Word(word), now_ms=desk.clock.now_ms(), **said)
    done = RedirectResponse(request.url_for("show_room", room_id=room_id).path, status_code=303)
    return remember(done, person_id)


@router.get("/{path:path}")
async def show_nothing(path: str) -> Response:
    """Every other address; programs at the API are answered in their own way."""
    if path.startswith("api/"):
        raise HTTPException(404)
    raise NotFound(f"there is no page at /{path}")


def _span(desk: Desk, night: str) -> Span:
    now_ms = desk.clock.now_ms()
    if not night:
        return newest_span(desk.farm, now_ms)
    try:
        evening = date.fromisoformat(night)
    except ValueError:
        raise NotUnderstood("a night is named by its evening, such as 2026-11-24") from None
    span = night_span(desk.farm, evening, now_ms)
    if span is None:
        raise NotFound("that night has not begun yet, or lies before anything was kept")
    return span
