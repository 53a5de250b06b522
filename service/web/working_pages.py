"""The address at which people say that they work in a room, or leave a limit until a time."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse
from starlette.responses import Response

from rules.model import HOUR_MS
from service.errors import NotUnderstood
from service.storage import people, rooms
from service.storage.holds import holds_of
from service.watch.desk import Desk
from service.watch.holds import Holding, Left, holding
from service.watch.room_now import room_now
from service.web.paper import page, words_of
from service.web.trouble import PageRoute
from service.web.who import COOKIE, remember
from service.web.work_page import LEAVE_HOURS, WORK_HOURS, Asked, limit_of, work_page

_WHY_LETTERS: Final = 120

router = APIRouter(route_class=PageRoute, include_in_schema=False)


@router.get("/rooms/{room_id}/work")
async def show_work(request: Request, room_id: str) -> Response:
    """Who works in a room and what is left, with forms to say so."""
    desk: Desk = request.app.state.desk
    now_ms = desk.clock.now_ms()
    async with desk.database.read() as connection:
        room = await rooms.room(connection, desk.farm_id, room_id)
        held = await holds_of(connection, desk.farm_id, room_id, from_ms=now_ms)
        shown = work_page(
            room,
            await room_now(connection, desk.farm_id, room, catalogue=desk.catalogue, now_ms=now_ms),
            [row for row in held if row.is_on(now_ms)],
            words_of(desk),
            people=await people.all_people(connection, desk.farm_id),
            whoever=request.cookies.get(COOKIE, ""),
        )
    return page(desk, "work.html", room=shown)


@router.post("/rooms/{room_id}/work")
async def take_work(request: Request, room_id: str, asked: Annotated[Asked, Form()]) -> Response:
    """Somebody works, is out, leaves a limit, or ends what is held back."""
    desk: Desk = request.app.state.desk
    if not asked.person_id:
        raise NotUnderstood("nobody was chosen: say first who you are")
    async with holding(desk) as changes:
        await _take(changes, room_id, asked)
    done = RedirectResponse(request.url_for("show_work", room_id=room_id).path, status_code=303)
    return remember(done, asked.person_id)


async def _take(changes: Holding, room_id: str, asked: Asked) -> None:
    match asked.act:
        case "working":
            await changes.working(room_id, asked.person_id, _until(changes, asked.hours, WORK_HOURS))
        case "everywhere":
            await changes.working(None, asked.person_id, _until(changes, asked.hours, WORK_HOURS))
        case "out":
            await changes.out(asked.person_id)
        case "leave":
            await _leave(changes, room_id, asked)
        case "end":
            await changes.end(asked.hold_id, who=await _name(changes, asked.person_id))
        case _:
            raise NotUnderstood("the form says neither working, out, leave nor end")


async def _leave(changes: Holding, room_id: str, asked: Asked) -> None:
    which, why = limit_of(asked.limit), " ".join(asked.why.split())[:_WHY_LETTERS]
    if which is None:
        raise NotUnderstood("no limit was chosen: say which is left")
    if not why.isprintable() or not why:
        raise NotUnderstood("say in a few words why it is left")
    left = Left(
        quantity=which[0],
        side=which[1],
        until_ms=_until(changes, asked.hours, LEAVE_HOURS),
        why=why,
        who=await _name(changes, asked.person_id),
    )
    await changes.leave(room_id, left)


def _until(changes: Holding, hours: str, offered: tuple[int, ...]) -> int:
    if hours not in {str(one) for one in offered}:
        raise NotUnderstood("say until when: what is held back always has an end")
    return changes.now_ms + int(hours) * HOUR_MS


async def _name(changes: Holding, person_id: str) -> str:
    return str((await people.person(changes.connection, changes.farm_id, person_id))["name"])
