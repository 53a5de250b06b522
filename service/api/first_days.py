"""What a room's limits would have woken people for in its first days."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from fastapi import APIRouter
from pydantic import Field

from rules.model import EDGES
from service.api.access import AtDesk
from service.api.fields import Answered, RoomId
from service.api.moments import Shown
from service.api.problems import declared
from service.reports.first_days import suggestion_in_words, would_have_texted
from service.storage import outbox, rooms
from service.watch.room_now import room_now
from service.watch.suggesting import suggestions

router = APIRouter(prefix="/rooms", tags=["rooms"])

TIMES: Final[Mapping[int, str]] = {0: "would not have texted", 1: "would have texted once"}


class LimitSoFar(Answered):
    """One text limit in the first days."""

    quantity: str
    side: str
    limit: float | None = Field(description="In force now; none, if the limit it was about is gone.")
    times: int = Field(description="How often somebody would have been woken for it.")
    moments: list[Shown]
    said: str = Field(description="The same in words.")
    suggested: float | None = Field(description="The nearest limit with which these days would have been quiet.")
    suggestion: str | None = Field(description="The same in words; none where nothing would have texted.")


class FirstDaysSoFar(Answered):
    """A room's first days, so far or as they were."""

    room_id: str
    begin: Shown
    end: Shown
    over: bool
    times: int
    limits: list[LimitSoFar]


@router.get(
    "/{room_id}/first-days",
    summary="How often a room would have texted in its first days",
    description="In its first days the room is judged like any other, and its crop limits wake nobody.",
    responses=declared(404),
)
async def get_first_days(desk: AtDesk, room_id: RoomId) -> FirstDaysSoFar:
    now_ms = desk.clock.now_ms()
    async with desk.database.read() as connection:
        room = await rooms.room(connection, desk.farm_id, room_id)
        present = await room_now(connection, desk.farm_id, room, catalogue=desk.catalogue, now_ms=now_ms)
        begin_ms, end_ms = room["created_ms"], room["first_days_end_ms"]
        told = await outbox.notices_between(connection, desk.farm_id, from_ms=begin_ms, to_ms=end_ms)
        found = would_have_texted(n for n in told if n["room_id"] == room_id)
        suggested = (
            await suggestions(connection, desk.farm, room, desk.catalogue, to_ms=min(end_ms, now_ms))
            if found
            else {}
        )
    limits = {key: held.near.limit for key, held in present.limits.limits.items() if key[1] in EDGES}
    keys = sorted({*limits, *found})
    return FirstDaysSoFar(
        room_id=room_id,
        begin=begin_ms,
        end=end_ms,
        over=rooms.is_past_first_days(room, now_ms),
        times=sum(len(moments) for moments in found.values()),
        limits=[
            LimitSoFar(
                quantity=key[0],
                side=key[1],
                limit=limits.get(key),
                times=len(found.get(key, ())),
                moments=list(found.get(key, ())),
                said=times_in_words(len(found.get(key, ()))),
                suggested=suggested[key].suggested if key in suggested else None,
                suggestion=suggestion_in_words(suggested[key], desk.farm["units"]) if key in suggested else None,
            )
            for key in keys
        ],
    )


def times_in_words(times: int) -> str:
    """How often a limit would have texted."""
    return TIMES.get(times, f"would have texted {times} times")
