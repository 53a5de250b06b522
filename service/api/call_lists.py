"""Call lists: whom to tell in what order, by day and by night; and who that is at a moment."""

from __future__ import annotations

from typing import Annotated, Final, Literal, TypeAlias

from fastapi import APIRouter, Query
from pydantic import Field, model_validator

from rules.model import DAY_MS, MINUTE_MS
from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, PersonId, RoomId, RotaId, Who
from service.api.moments import Moment, Shown
from service.api.problems import declared
from service.errors import NotAllowed, NotUnderstood
from service.log import log
from service.storage import people, rooms, views
from service.storage.rows import Record
from service.watch.on_call import Place, is_night_at, places_at, told_in_order
from service.watch.set_up import can_be_told

router = APIRouter(tags=["people"])

LONGEST_WAIT_MINUTES: Final = 24 * 60
MOST_LINES: Final = 30
FARTHEST_AHEAD_MS: Final = 731 * DAY_MS
Daypart: TypeAlias = Literal["day", "night"]


class LineAsked(Asked):
    """One line of a call list: a person, or a rota for whoever has its turn."""

    person_id: PersonId | None = None
    rota_id: RotaId | None = None
    after_minutes: Annotated[float, Field(ge=0, le=LONGEST_WAIT_MINUTES)] = Field(
        description="How long after the first, if nobody answered. The first two may be told at once."
    )

    @model_validator(mode="after")
    def _names_one(self) -> LineAsked:
        if (self.person_id is None) == (self.rota_id is None):
            raise ValueError("a line names a person or a rota")
        return self


class CallListAsked(Asked):
    """Whom to tell, in order."""

    lines: Annotated[list[LineAsked], Field(max_length=MOST_LINES)]
    who: Who

    @model_validator(mode="after")
    def _in_order(self) -> CallListAsked:
        if len({(line.person_id, line.rota_id) for line in self.lines}) < len(self.lines):
            raise ValueError("somebody is on the list twice")
        waits = [line.after_minutes for line in self.lines]
        if waits != sorted(waits):
            raise ValueError("nobody further down may be told sooner")
        return self


class Line(Answered):
    """One line of a call list with the person or rota on it."""

    person_id: str | None
    rota_id: str | None
    name: str
    after_minutes: float
    active: bool = Field(description="False: passed over.")


class CallList(Answered):
    """Whom to tell by day or by night."""

    daypart: Daypart
    lines: list[Line]


class OnCall(Answered):
    """Somebody who would be told."""

    person_id: str
    name: str
    after_minutes: float
    why: str = Field(description="Why this person: has the turn, took the turn, stands in; empty if on the list.")


class LeftOut(Answered):
    """A line by which nobody would be told."""

    rota_id: str | None
    person_id: str | None
    name: str | None
    why: str


class OnCallAt(Answered):
    """Who would be told at a moment."""

    at: Shown
    daypart: Daypart
    told: list[OnCall] = Field(description="In order.")
    left_out: list[LeftOut]


@router.get("/call-lists/{daypart}", summary="Whom to tell by day or by night", responses=declared())
async def get_call_list(desk: AtDesk, daypart: Daypart) -> CallList:
    async with desk.database.read() as connection:
        return _call_list(daypart, await views.call_lines(connection, desk.farm_id, daypart))


@router.put("/call-lists/{daypart}", summary="Change whom to tell", responses=declared(404, 409))
async def put_call_list(desk: AtDesk, daypart: Daypart, asked: CallListAsked) -> CallList:
    lines = [
        {
            "person_id": line.person_id,
            "rota_id": line.rota_id,
            "after_ms": round(line.after_minutes * MINUTE_MS),
        }
        for line in asked.lines
    ]
    async with changing(desk) as connection:
        now_ms = desk.clock.now_ms()
        await people.set_lines(connection, desk.farm_id, daypart, lines, who=asked.who, recorded_ms=now_ms)
        rows = await views.call_lines(connection, desk.farm_id, daypart)
        mute = [row["name"] for row in rows if row["rota_id"] is None and not can_be_told(row)]
        if mute:
            raise NotAllowed(f"{', '.join(mute)} could not be told: no phone and no e-mail is known")
    log.info("call list changed", daypart=daypart, lines=len(lines), who=asked.who)
    return _call_list(daypart, rows)


@router.get(
    "/on-call",
    summary="Who would be told at a moment, in order, and why somebody is left out",
    description="By what was written down by that moment: for the past, what was known then.",
    responses=declared(404),
)
async def get_on_call(
    desk: AtDesk,
    at: Annotated[Moment | None, Query(description="Now, if absent.")] = None,
    room: Annotated[RoomId | None, Query(description="The whole farm, if absent.")] = None,
    danger: Annotated[bool, Query(description="For danger to people nobody is left out.")] = False,  # noqa: FBT002
) -> OnCallAt:
    now_ms = desk.clock.now_ms()
    at_ms = now_ms if at is None else at
    if at_ms - now_ms > FARTHEST_AHEAD_MS:
        raise NotUnderstood("nobody knows who is on call in more than two years")
    async with desk.database.read() as connection:
        if room is not None:
            await rooms.room(connection, desk.farm_id, room)
        places = await places_at(connection, desk.farm, at_ms=at_ms, room_id=room, danger=danger)
    told = [place for place in places if place.person is not None and place.left_out is None]
    return OnCallAt(
        at=at_ms,
        daypart="night" if is_night_at(desk.farm, at_ms) else "day",
        told=[_on_call(row, place) for row, place in zip(told_in_order(places), told, strict=True)],
        left_out=[_left_out(place) for place in places if place.left_out is not None],
    )


def _on_call(row: Record, place: Place) -> OnCall:
    after_minutes = row["after_ms"] / MINUTE_MS
    return OnCall(person_id=row["person_id"], name=row["name"], after_minutes=after_minutes, why=place.why)


def _left_out(place: Place) -> LeftOut:
    person = place.person
    return LeftOut(
        rota_id=place.rota_id,
        person_id=None if person is None else person["person_id"],
        name=None if person is None else person["name"],
        why=place.left_out or "",
    )


def _call_list(daypart: Daypart, rows: list[Record]) -> CallList:
    lines = [
        Line(
            person_id=row["person_id"],
            rota_id=row["rota_id"],
            name=row["name"],
            after_minutes=row["after_ms"] / MINUTE_MS,
            active=bool(row["active"]),
        )
        for row in rows
    ]
    return CallList(daypart=daypart, lines=lines)
