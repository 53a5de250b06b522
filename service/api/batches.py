"""Batches: blocks, bottles or bags of one strain, and where they are at which stage."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from pydantic import Field

from service.api.access import AtDesk
from service.api.fields import (
    Accepted,
    Answered,
    Asked,
    BatchId,
    Count,
    Note,
    ProfileName,
    RoomId,
    StageName,
    Version,
    Who,
)
from service.api.moments import Moment, Shown
from service.api.problems import declared
from service.storage import crops
from service.storage.database import Connection
from service.watch.moving import Blocks, Move, moving

router = APIRouter(prefix="/batches", tags=["batches"])

FROM_A_MOMENT = (
    "Holds from the moment given on (now, if absent) and never rewrites the past: 409 when it lies before the "
    "batch's last move, 422 when it lies ahead. A room is judged by it from where its judging stands; what was "
    "judged and told before stays, also when the moment lies earlier."
)
HAS_TO_SUIT = (
    "409 also where the crops of the room would have nothing in common; the answer then holds the reason and the "
    "least bad band of each quantity, and the move can be made as a compromise."
)


class BatchMade(Asked):
    """A new batch and where it begins."""

    batch_id: BatchId
    profile: ProfileName
    version: Version | None = Field(default=None, description="The newest, if absent.")
    strain: Note
    count: Count
    container: Note
    room_id: RoomId | None
    stage: StageName
    from_ms: Moment | None = Field(default=None, alias="from", description="Now, if absent.")
    who: Who
    compromise: Accepted = None


class StayAsked(Asked):
    """A batch moves, or changes its stage."""

    room_id: RoomId | None = Field(description="None: in no room.")
    stage: StageName
    from_ms: Moment | None = Field(default=None, alias="from", description="Now, if absent.")
    profile: ProfileName | None = Field(
        default=None, description="Grow on by this profile; if absent, by the one of the last stay."
    )
    version: Version | None = Field(
        default=None,
        description="And by this version; if absent, by that of the last stay, or the newest of another profile.",
    )
    who: Who
    compromise: Accepted = None


class Stay(Answered):
    """From a moment on a batch is in a room at a stage, judged by a version of a profile."""

    room_id: str | None
    stage: str
    profile: str
    version: int
    since: Shown
    recorded: Shown
    who: str


class Batch(Answered):
    """A batch as it was written down, with its stays, the oldest first."""

    batch_id: str
    profile: str
    version: int
    strain: str
    count: int | None
    container: str
    who: str
    stays: list[Stay]


@router.post(
    "",
    status_code=201,
    summary="Write down a new batch",
    description=f"{FROM_A_MOMENT} {HAS_TO_SUIT}",
    responses=declared(404, 409),
)
async def post_batch(desk: AtDesk, asked: BatchMade) -> Batch:
    blocks = Blocks(
        profile=asked.profile,
        version=asked.version,
        strain=asked.strain,
        count=asked.count,
        container=asked.container,
    )
    move = _move(asked)
    async with moving(desk) as moves:
        await moves.make(asked.batch_id, blocks, move)
        return await batch_of(moves.connection, desk.farm_id, asked.batch_id)


@router.get("/{batch_id}", summary="A batch and where it has been", responses=declared(404))
async def get_batch(desk: AtDesk, batch_id: BatchId) -> Batch:
    async with desk.database.read() as connection:
        return await batch_of(connection, desk.farm_id, batch_id)


@router.post(
    "/{batch_id}/stays",
    status_code=201,
    summary="Move a batch, or change its stage",
    description=f"{FROM_A_MOMENT} {HAS_TO_SUIT}",
    responses=declared(404, 409),
)
async def post_stay(desk: AtDesk, batch_id: BatchId, asked: StayAsked) -> Batch:
    move = _move(asked)
    async with moving(desk) as moves:
        await moves.move(batch_id, move)
        return await batch_of(moves.connection, desk.farm_id, batch_id)


def _move(asked: BatchMade | StayAsked) -> Move:
    goes_on = asked if isinstance(asked, StayAsked) else None
    return Move(
        room_id=asked.room_id,
        stage=asked.stage,
        from_ms=asked.from_ms,
        who=asked.who,
        profile=None if goes_on is None else goes_on.profile,
        version=None if goes_on is None else goes_on.version,
        accepts_compromise=asked.compromise is not None,
    )


async def batch_of(connection: Connection, farm_id: int, batch_id: str) -> Batch:
    """A batch as it is shown."""
    row = await crops.batch(connection, farm_id, batch_id)
    stays = [
        Stay(
            room_id=stay["room_id"],
            stage=stay["stage"],
            profile=stay["profile"],
            version=stay["version"],
            since=stay["valid_from_ms"],
            recorded=stay["recorded_ms"],
            who=stay["who"],
        )
        for stay in await crops.stays_of_batch(connection, farm_id, batch_id)
    ]
    plain: dict[str, Any] = {name: row[name] for name in Batch.model_fields if name not in {"stays", "count"}}
    return Batch(**plain, count=row["count"] or None, stays=stays)
