"""What is held back: somebody works in a room, or a limit is left until a time."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from fastapi import APIRouter, Path, Query
from pydantic import AfterValidator, Field

from rules.model import Instant, Quantity, Side
from service.api.access import AtDesk
from service.api.fields import Answered, Asked, PersonId, RoomId, Who, one_line
from service.api.moments import Moment, Shown
from service.api.problems import declared
from service.log import log
from service.reports.words import Words
from service.storage import holds, rooms
from service.storage.holds import HoldRow
from service.watch.desk import Desk
from service.watch.holds import Left, holding

router = APIRouter(tags=["holds"])

Banded: TypeAlias = Literal["temperature", "humidity", "co2", "soak_water", "block_core", "product_core"]
HoldId: TypeAlias = Annotated[str, Path(pattern=r"^[0-9a-f]{1,64}$")]
Reason: TypeAlias = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(one_line)]

NEVER_PEOPLE = "Limits that hold for people are never held back."


class WorkingAsked(Asked):
    """A person works from now on."""

    person_id: PersonId
    until: Moment = Field(description="At most 12 hours ahead; it ends by itself.")


class LeaveAsked(Asked):
    """One crop limit, or all of a room, left from now on."""

    quantity: Banded | None = Field(default=None, description="With its side; without both, every crop limit.")
    side: Literal["low", "high", "people"] | None = Field(
        default=None, description="Limits for people are refused: they are never left."
    )
    until: Moment = Field(description="At most 24 hours ahead; it ends by itself.")
    why: Reason
    who: Who


class EndAsked(Asked):
    """Somebody ends what is held back before its time."""

    who: Who


class HeldBack(Answered):
    """What was or is held back. Limits go on being judged meanwhile; people are not told."""

    hold_id: str
    kind: str = Field(description="working, or leave.")
    room_id: str | None = Field(description="None: every room.")
    quantity: str | None = Field(description="None: every crop limit.")
    side: str | None
    person_id: str | None = Field(description="Who is inside.")
    from_: Shown = Field(serialization_alias="from")
    until: Shown = Field(description="When it was meant to end.")
    ended: Shown | None = Field(description="When somebody ended it before.")
    ended_by: str | None
    why: str
    who: str
    recorded: Shown
    said: str = Field(description="In words, on the farm's clock.")


@router.get("/holds", summary="What is held back at a moment", responses=declared(404))
async def get_holds(
    desk: AtDesk,
    room: Annotated[RoomId | None, Query(description="This room's, those of every room among them.")] = None,
    at: Annotated[Moment | None, Query(description="Now, if absent.")] = None,
) -> list[HeldBack]:
    at_ms = desk.clock.now_ms() if at is None else at
    async with desk.database.read() as connection:
        if room is None:
            found = await holds.all_holds(connection, desk.farm_id, from_ms=at_ms)
        else:
            await rooms.room(connection, desk.farm_id, room)
            found = await holds.holds_of(connection, desk.farm_id, room, from_ms=at_ms)
    return on_at(desk, found, at_ms)


@router.post(
    "/rooms/{room_id}/working",
    status_code=201,
    summary="Somebody works in a room until a time",
    description=f"Nobody is woken for its crop limits meanwhile. {NEVER_PEOPLE}",
    responses=declared(404, 409),
)
async def post_working(desk: AtDesk, room_id: RoomId, asked: WorkingAsked) -> HeldBack:
    async with holding(desk) as changes:
        return _said(desk, await changes.working(room_id, asked.person_id, asked.until))


@router.post(
    "/working",
    status_code=201,
    summary="Somebody works in every room until a time",
    description=f"Nobody is woken for crop limits anywhere meanwhile. {NEVER_PEOPLE}",
    responses=declared(404, 409),
)
async def post_working_everywhere(desk: AtDesk, asked: WorkingAsked) -> HeldBack:
    async with holding(desk) as changes:
        return _said(desk, await changes.working(None, asked.person_id, asked.until))


@router.post(
    "/people/{person_id}/out",
    summary="Somebody is out of wherever they worked",
    responses=declared(404, 409),
)
async def post_out(desk: AtDesk, person_id: PersonId) -> list[HeldBack]:
    async with holding(desk) as changes:
        return [_said(desk, row) for row in await changes.out(person_id)]


@router.post(
    "/rooms/{room_id}/leave",
    status_code=201,
    summary="Leave a crop limit of a room, or all of them, until a time",
    description=f"Nobody is told of it before then; if it is still passed, people are told then. {NEVER_PEOPLE}",
    responses=declared(404, 409),
)
async def post_leave(desk: AtDesk, room_id: RoomId, asked: LeaveAsked) -> HeldBack:
    left = Left(
        quantity=None if asked.quantity is None else Quantity(asked.quantity),
        side=None if asked.side is None else Side(asked.side),
        until_ms=asked.until,
        why=asked.why,
        who=asked.who,
    )
    async with holding(desk) as changes:
        return _said(desk, await changes.leave(room_id, left))


@router.post("/holds/{hold_id}/end", summary="End what is held back before its time", responses=declared(404, 409))
async def post_end(desk: AtDesk, hold_id: HoldId, asked: EndAsked) -> HeldBack:
    async with holding(desk) as changes:
        return _said(desk, await changes.end(hold_id, who=asked.who))


def on_at(desk: Desk, found: list[HoldRow], at_ms: Instant) -> list[HeldBack]:
    """Those that hold at a moment, as they are shown."""
    return [held_back(desk, row) for row in found if row.is_on(at_ms)]


def held_back(desk: Desk, row: HoldRow) -> HeldBack:
    """A hold as it is shown."""
    words = Words(farm=desk.farm, units=desk.farm["units"], now_ms=desk.clock.now_ms())
    return HeldBack(
        hold_id=row.hold_id,
        kind=row.kind,
        room_id=row.room_id,
        quantity=row.quantity,
        side=row.side,
        person_id=row.person_id,
        from_=row.from_ms,
        until=row.until_ms,
        ended=row.ended_ms,
        ended_by=row.ended_by,
        why=row.why,
        who=row.who,
        recorded=row.recorded_ms,
        said=words.hold(row),
    )


def _said(desk: Desk, row: HoldRow) -> HeldBack:
    log.info("hold", hold=row.hold_id, kind=row.kind, room=row.room_id, end_ms=row.end_ms, who=row.who)
    return held_back(desk, row)
