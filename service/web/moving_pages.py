"""The address at which crops are moved into a room."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse
from starlette.responses import Response

from service.errors import NotFound, NotUnderstood
from service.storage import people, rooms, views
from service.storage.database import Connection
from service.watch.desk import Desk
from service.watch.moving import Blocks, Move, moving
from service.watch.sharing import NothingInCommon, preview
from service.web.crop_page import BETWEEN, Asked, crop_page, refused_page
from service.web.paper import page, words_of
from service.web.trouble import PageRoute
from service.web.who import COOKIE, remember

ACCEPTED: Final = "accepted"
_MOST_BATCHES: Final = 100

router = APIRouter(route_class=PageRoute, include_in_schema=False)


@router.get("/rooms/{room_id}/crops")
async def show_crops(request: Request, room_id: str) -> Response:
    """What grows in a room, and a form to move a crop in."""
    desk: Desk = request.app.state.desk
    async with desk.database.read() as connection:
        room = await rooms.room(connection, desk.farm_id, room_id)
        shown = crop_page(
            room,
            await preview(connection, desk, room_id),
            words_of(desk),
            batches=await views.newest_batches(connection, desk.farm_id, _MOST_BATCHES),
            profiles=await desk.catalogue.newest(connection),
            people=await people.all_people(connection, desk.farm_id),
            whoever=request.cookies.get(COOKIE, ""),
        )
    return page(desk, "crops.html", room=shown)


@router.post("/rooms/{room_id}/crops")
async def take_crop(request: Request, room_id: str, asked: Annotated[Asked, Form()]) -> Response:
    """Move a crop in; where it does not suit, say why, and ask whether that is accepted."""
    desk: Desk = request.app.state.desk
    try:
        await _move(desk, room_id, asked)
    except NothingInCommon as refused:
        async with desk.database.read() as connection:
            room = await rooms.room(connection, desk.farm_id, room_id)
            everyone = await people.all_people(connection, desk.farm_id)
        shown = refused_page(room, refused, words_of(desk), asked=asked, people=everyone)
        return page(desk, "crops_refused.html", 409, room=shown)
    done = RedirectResponse(request.url_for("show_crops", room_id=room_id).path, status_code=303)
    return remember(done, asked.person_id)


async def _move(desk: Desk, room_id: str, asked: Asked) -> None:
    profile, between, stage = asked.crop.partition(BETWEEN)
    if not between:
        raise NotUnderstood("no crop was chosen: say what moves in, and at which stage")
    async with moving(desk) as moves:
        who = await _name(moves.connection, desk, asked.person_id)
        await _check_offered(moves.connection, desk, asked.batch_id, profile)
        accepts = asked.compromise == ACCEPTED
        move = Move(room_id=room_id, stage=stage, from_ms=None, who=who, accepts_compromise=accepts)
        await moves.assign(asked.batch_id or None, Blocks(profile=profile), move)


async def _check_offered(connection: Connection, desk: Desk, batch_id: str, profile: str) -> None:
    """Only what the form lists is taken: anything else never came from it."""
    if profile not in {known.name for known in await desk.catalogue.newest(connection)}:
        raise NotFound("there is no such crop")
    batches = await views.newest_batches(connection, desk.farm_id, _MOST_BATCHES)
    if batch_id and batch_id not in {batch["batch_id"] for batch in batches}:
        raise NotFound("there is no such batch")


async def _name(connection: Connection, desk: Desk, person_id: str) -> str:
    if not person_id:
        raise NotUnderstood("nobody was chosen: say first who you are")
    for person in await people.all_people(connection, desk.farm_id):
        if person["person_id"] == person_id and person["active"]:
            return str(person["name"])
    raise NotFound("nobody of that name is written down here")
