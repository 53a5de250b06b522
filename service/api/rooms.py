"""Rooms: set up, looked at now, and given a crop."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter
from pydantic import Field

from rules.model import DAY_MS
from service.api.access import AtDesk, changing
from service.api.batches import FROM_A_MOMENT, HAS_TO_SUIT, Batch, batch_of
from service.api.fields import (
    Accepted,
    Answered,
    Asked,
    BatchId,
    Count,
    Kind,
    Name,
    Note,
    ProfileName,
    RoomId,
    StageName,
    Who,
)
from service.api.moments import Moment, Shown
from service.api.problems import declared
from service.api.room_view import RoomNow, look_at
from service.log import log
from service.storage import rooms
from service.storage.rows import Record
from service.watch.moving import Blocks, Move, moving
from service.wording.segments import text_name

router = APIRouter(prefix="/rooms", tags=["rooms"])

TEXT_NAME_SEPTETS: Final = 12
FIRST_DAYS_MS: Final = 7 * DAY_MS


class RoomMade(Asked):
    """A new room."""

    room_id: RoomId
    name: Name
    text_name: Name | None = Field(
        default=None,
        description="How texts call it: cut to 12 letters of the basic alphabet. The name, if absent.",
    )
    kind: Kind
    who: Who


class Room(Answered):
    """A room as it is set up."""

    room_id: str
    name: str
    text_name: str
    kind: str
    first_days_end: Shown = Field(description="Before that, nobody is woken for the room.")
    created: Shown
    who: str


class FirstDays(Asked):
    """When the first days of a room end."""

    end: Moment | None = Field(description="None: now.")
    who: Who


class Assigned(Asked):
    """From a moment on a room holds a stage of a profile."""

    profile: ProfileName
    stage: StageName
    from_ms: Moment | None = Field(default=None, alias="from", description="Now, if absent.")
    who: Who
    batch_id: BatchId | None = Field(default=None, description="The batch that comes, or changes its stage.")
    strain: Note | None = None
    count: Count | None = None
    container: Note | None = None
    compromise: Accepted = None


@router.get("", summary="Every room, in the farm's order", responses=declared())
async def get_rooms(desk: AtDesk) -> list[Room]:
    async with desk.database.read() as connection:
        return [_room(row) for row in await rooms.all_rooms(connection, desk.farm_id)]


@router.post("", status_code=201, summary="Add a room", responses=declared(404, 409))
async def post_room(desk: AtDesk, asked: RoomMade) -> Room:
    now_ms = desk.clock.now_ms()
    values = {
        "room_id": asked.room_id,
        "name": asked.name,
        "text_name": text_name(asked.text_name or asked.name, TEXT_NAME_SEPTETS),
        "kind": asked.kind,
        "first_days_end_ms": now_ms + (0 if asked.kind == rooms.COOLER else FIRST_DAYS_MS),
        "created_ms": now_ms,
        "who": asked.who,
    }
    async with changing(desk) as connection:
        await rooms.add_room(connection, desk.farm_id, values)
    return _room(values)


@router.get("/{room_id}", summary="A room now", responses=declared(404))
async def get_room(desk: AtDesk, room_id: RoomId) -> RoomNow:
    async with desk.database.read() as connection:
        return await look_at(connection, desk, room_id)


@router.post(
    "/{room_id}/first-days",
    summary="End the first days of a room",
    description="While a new room is got to know, what it does is only listed and wakes nobody.",
    responses=declared(404),
)
async def post_first_days(desk: AtDesk, room_id: RoomId, asked: FirstDays) -> Room:
    end_ms = desk.clock.now_ms() if asked.end is None else asked.end
    async with changing(desk) as connection:
        await rooms.end_first_days(connection, desk.farm_id, room_id, end_ms, who=asked.who)
        row = await rooms.room(connection, desk.farm_id, room_id)
    log.info("first days of a room end", room=room_id, end_ms=end_ms, who=asked.who)
    return _room(row)


@router.post(
    "/{room_id}/assign",
    status_code=201,
    summary="Give a room a profile and stage",
    description=(
        "Moves the batch named here (it is made, unless it is there), or makes a new one; other batches in the "
        f"room stay. {FROM_A_MOMENT} {HAS_TO_SUIT}"
    ),
    responses=declared(404, 409),
)
async def post_assign(desk: AtDesk, room_id: RoomId, asked: Assigned) -> Batch:
    blocks = Blocks(profile=asked.profile, strain=asked.strain, count=asked.count, container=asked.container)
    move = Move(
        room_id=room_id,
        stage=asked.stage,
        from_ms=asked.from_ms,
        who=asked.who,
        accepts_compromise=asked.compromise is not None,
    )
    async with moving(desk) as moves:
        batch_id = await moves.assign(asked.batch_id, blocks, move)
        return await batch_of(moves.connection, desk.farm_id, batch_id)


def _room(row: Record) -> Room:
    return Room(
        room_id=row["room_id"],
        name=row["name"],
        text_name=row["text_name"],
        kind=row["kind"],
        first_days_end=row["first_days_end_ms"],
        created=row["created_ms"],
        who=row["who"],
    )
