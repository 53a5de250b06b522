"""A limit tried on a room's history: what it would have told, beside what was told."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from service.api.access import AskedSpan, AtDesk
from service.api.fields import Answered, RoomId
from service.api.moments import Shown
from service.api.problems import declared
from service.errors import NotUnderstood
from service.reports.replay import WAKE, Line, Says, beside
from service.storage import outbox, rooms
from service.watch.replay import Replay
from service.watch.trying import changed_by

router = APIRouter(prefix="/rooms", tags=["rooms"])

LONGEST_DAYS = 100
_DAY_MS = 86_400_000


class ReplayLine(Answered):
    """One thing that was told, or would have been, or both."""

    at: Shown
    quantity: str
    side: str
    kind: str
    text: bool = Field(description="It wakes somebody; else it stands on the round sheet only.")
    told_then: Shown | None = Field(description="When it was told of at the time; none, if it was not.")
    mark: str = Field(description="How it stands to what was told, in plain words.")
    said: str = Field(description="The line in words, on the farm's clock.")


class RoomReplay(Answered):
    """A span of a room's history, judged once more."""

    room_id: str
    begin: Shown
    end: Shown
    texts: int = Field(description="About something wrong, with what was tried.")
    texts_then: int
    said: str = Field(description="The same in words.")
    lines: list[ReplayLine]


@router.get(
    "/{room_id}/replay",
    summary="Try limits or waits on a room's history",
    description=(
        "Judges stored readings once more and writes nothing. Limits are in the unit that is kept (%RH, Cel, "
        "ppm), waits in minutes: `limit=humidity-low=80`, `wait=humidity-low=12`. Limits that hold for people are "
        "left out."
    ),
    responses=declared(404),
)
async def get_replay(
    desk: AtDesk,
    room_id: RoomId,
    span: AskedSpan,
    *,
    limit: Annotated[list[str] | None, Query(max_length=20)] = None,
    wait: Annotated[list[str] | None, Query(max_length=20)] = None,
) -> RoomReplay:
    if span.to_ms - span.from_ms > LONGEST_DAYS * _DAY_MS:
        raise NotUnderstood(f"ask for at most {LONGEST_DAYS} days at once")
    changed = changed_by(limits=limit or (), waits=wait or ())
    async with desk.database.read() as connection:
        room = await rooms.room(connection, desk.farm_id, room_id)
        again = Replay(connection=connection, farm=desk.farm, catalogue=desk.catalogue)
        replayed = await again.room(room, from_ms=span.from_ms, to_ms=span.to_ms, changed=changed)
        told = await outbox.notices_between(connection, desk.farm_id, from_ms=span.from_ms, to_ms=replayed.to_ms)
    joined = beside([one for one in told if one["room_id"] == room_id], replayed.notices)
    says = Says(zone=desk.farm["zone"], units=desk.farm["units"])
    return RoomReplay(
        room_id=room_id,
        begin=span.from_ms,
        end=max(replayed.to_ms, span.from_ms),
        texts=joined.texts_now,
        texts_then=joined.texts_then,
        said=says.summary(joined),
        lines=[_line(line, says) for line in joined.lines],
    )


def _line(line: Line, says: Says) -> ReplayLine:
    facts = line.notice["facts"]
    return ReplayLine(
        at=line.at_ms,
        quantity=facts["quantity"],
        side=facts["side"],
        kind=line.notice["kind"],
        text=line.notice["telling"] == WAKE,
        told_then=None if line.was is None else line.was["at_ms"],
        mark=says.mark(line),
        said=says.line(line),
    )
