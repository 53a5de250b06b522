"""The address of an answering link. Looking at it changes nothing, whoever or whatever looks; the button answers.

Of what we did not sign nothing is said, and nothing is looked up: a wrong address, a forged one and one of
somebody who is gone get the same page, byte for byte. To a link that we did sign it may be said that it was used.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field, replace
from http import HTTPStatus
from typing import Final
from urllib.parse import parse_qs

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import HTMLResponse
from starlette.responses import Response

from rules.model import SECOND_MS, Instant
from service.errors import NotAllowed, NotFound, PassingError
from service.log import log
from service.storage.database import Connection
from service.watch.desk import Desk
from service.watch.link_view import look
from service.watch.links import (
    OFFERED,
    Link,
    answer_by_link,
    link_secret,
    read_link,
    signed_id,
    token_for_out,
)
from service.web.guesses import REST_MS, Guesses
from service.web.link_page import Block, LinkPage, Sayings, open_page, spent_page, taken_page
from service.web.paper import HEADERS, STATIC, filled
from service.wire.word import Word
from service.wording.language import Language
from service.wording.link_phrases import LEADS_NOWHERE, NOT_NOW, TOO_MANY

_STYLE: Final = (STATIC / "link.css").read_text(encoding="utf-8").strip()
_STYLE_HASH: Final = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
LINK_HEADERS: Final = {
    **HEADERS,
    "Content-Security-Policy": (
        f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; img-src data:; frame-ancestors 'none'; "
        "form-action 'self'; base-uri 'none'"
    ),
    # The address is the key: it goes into no other site's log, and into no list of pages found.
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
}
_MOST_BYTES: Final = 1024

router = APIRouter(include_in_schema=False)


@dataclass(slots=True)
class Door:
    """What the address remembers while the service runs."""

    secret: str | None = None
    guesses: Guesses = field(default_factory=Guesses)


@dataclass(frozen=True, slots=True, kw_only=True)
class Knock:
    """A request with a link that we signed."""

    desk: Desk
    secret: str
    link_id: str
    now_ms: Instant


def add_answering(app: FastAPI) -> None:
    """Add the address to an application."""
    app.state.answering = Door()
    app.include_router(router)


@router.api_route("/a/{token}", methods=["GET", "HEAD"])
async def show_link(request: Request, token: str) -> Response:
    """What the link is about, and the answers. Nothing is written, not even that somebody looked."""
    return await _answered(request, token, _show)


@router.post("/a/{token}")
async def take_link(request: Request, token: str) -> Response:
    """Somebody answers."""
    word = await _word_in(request)

    async def take(knock: Knock) -> Response | None:
        return await _take(knock, word)

    return await _answered(request, token, take)


async def _answered(
    request: Request, token: str, handle: Callable[[Knock], Awaitable[Response | None]]
) -> Response:
    """Let a signed token in; of anything else, say nothing but that."""
    desk: Desk = request.app.state.desk
    door: Door = request.app.state.answering
    now_ms = desk.clock.now_ms()
    try:
        secret = door.secret = door.secret or await _secret(desk)
        link_id = signed_id(secret, desk.farm_id, token)
        if link_id is None:
            return _too_many() if door.guesses.is_too_many(now_ms) else _nowhere()
        knock = Knock(desk=desk, secret=secret, link_id=link_id, now_ms=now_ms)
        return await handle(knock) or _nowhere()
    except NotFound:
        return _nowhere()
    except PassingError:
        return _said_to_anyone(NOT_NOW, HTTPStatus.SERVICE_UNAVAILABLE, **{"Retry-After": "60"})
    except Exception:  # noqa: BLE001 - a person gets words, the log gets the rest, and not the address
        log.exception("an answering link failed")
        return _said_to_anyone(NOT_NOW, HTTPStatus.INTERNAL_SERVER_ERROR)


async def _secret(desk: Desk) -> str:
    async with desk.database.write() as connection:
        return await link_secret(connection, desk.farm_id)


async def _show(knock: Knock) -> Response | None:
    farm_id = knock.desk.farm_id
    async with knock.desk.database.read() as connection:
        link = await read_link(connection, farm_id, secret=knock.secret, link_id=knock.link_id)
        if link is None:
            return None
        says = await _says(connection, knock, link)
        if link.used_ms is None and not link.is_old(knock.now_ms):
            return _page(open_page(says))
        token = await token_for_out(connection, farm_id, secret=knock.secret, link=link)
        return _page(spent_page(says, token), HTTPStatus.GONE)


async def _take(knock: Knock, word: Word | None) -> Response | None:
    if word is None:
        return await _ask_again(knock, HTTPStatus.UNPROCESSABLE_ENTITY)
    farm_id = knock.desk.farm_id
    try:
        async with knock.desk.database.write() as connection:
            answered = await answer_by_link(
                connection, farm_id, secret=knock.secret, link_id=knock.link_id, word=word, now_ms=knock.now_ms
            )
            if answered is None:
                return None
            says = await _says(connection, knock, answered.link)
            token = await token_for_out(connection, farm_id, secret=knock.secret, link=answered.link)
    except NotAllowed:
        return await _ask_again(knock, HTTPStatus.CONFLICT)
    if answered.taken is None:
        return _page(spent_page(says, token), HTTPStatus.GONE)
    return _page(taken_page(says, word, answered.taken, token))


async def _ask_again(knock: Knock, status: HTTPStatus) -> Response | None:
    """What came was no answer that this link can give: the same page once more, with a word about it."""
    async with knock.desk.database.read() as connection:
        link = await read_link(connection, knock.desk.farm_id, secret=knock.secret, link_id=knock.link_id)
        if link is None:
            return None
        says = await _says(connection, knock, link)
    page = open_page(says)
    return _page(replace(page, then=says.said.not_understood), status)


async def _says(connection: Connection, knock: Knock, link: Link) -> Sayings:
    desk = knock.desk
    view = await look(connection, desk.farm_id, link, catalogue=desk.catalogue, now_ms=knock.now_ms)
    return Sayings(view=view, farm=desk.farm, now_ms=knock.now_ms)


async def _word_in(request: Request) -> Word | None:
    """The answer in the form; ``None`` for whatever is none, however long it is."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > _MOST_BYTES:
            return None
    chosen = parse_qs(body.decode("utf-8", "replace")).get("word", [])
    return Word(chosen[0]) if len(chosen) == 1 and chosen[0] in set(OFFERED) else None


def _nowhere() -> Response:
    return _said_to_anyone(LEADS_NOWHERE, HTTPStatus.NOT_FOUND)


def _too_many() -> Response:
    return _said_to_anyone(TOO_MANY, HTTPStatus.TOO_MANY_REQUESTS, **{"Retry-After": str(REST_MS // SECOND_MS)})


def _said_to_anyone(sayings: Mapping[Language, tuple[str, str]], status: HTTPStatus, **headers: str) -> Response:
    """A page that knows nobody: every language, and not even the farm's name."""
    blocks = [Block(language=language, head=head, lines=[line]) for language, (head, line) in sayings.items()]
    nobody = LinkPage(language=blocks[0].language, title=blocks[0].head, blocks=blocks)
    return _page(nobody, status, **headers)


def _page(shown: LinkPage, status: HTTPStatus = HTTPStatus.OK, **headers: str) -> Response:
    return HTMLResponse(
        filled("link.html", link=shown, style=_STYLE), status_code=status, headers={**LINK_HEADERS, **headers}
    )
