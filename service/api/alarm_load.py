"""How much alarms ask of people, for whoever sets limits and waits."""

from __future__ import annotations

from dataclasses import asdict
from typing import Final

from fastapi import APIRouter
from pydantic import Field

from service.api.access import AskedSpan, AtDesk
from service.api.fields import Answered
from service.api.moments import Shown
from service.api.problems import declared
from service.reports.alarm_load import Part, farm_load

router = APIRouter(tags=["alarms"])

ABOUT: Final = (
    "Alarms of a span (a day up to now, if absent; at most 366 days): for the farm and each room as they were "
    "raised, whether or not they woke anybody, and for each person the texts they got about something wrong. "
    "Targets are those of the alarm standards for one operator of a plant with thousands of alarms, as restated "
    "in open texts; a farm meets most of them many times over. An average hides bursts: look at both. Shares "
    "and bursts are counted by periods of 10 minutes (or an hour) laid end to end from the beginning of the "
    "span; only the most alarms in any 10 minutes are those of a window that may begin anywhere. How short is "
    "short (three times within a minute, over within a minute) is common practice and our judgement. Time in "
    "which nothing was heard counts as time without alarms."
)


class FigureOfLoad(Answered):
    """One figure beside its target."""

    figure: str
    term: str = Field(description="Under which term the standards know it.")
    value: float | None = Field(description="None: there is none, as a share of no alarms.")
    unit: str
    target: str
    on_target: bool | None = Field(description="None: it cannot be told, as too few different alarms came.")
    manageable: float | None = Field(description="Off target, and can be lived with up to here.")
    whose: str = Field(description="Whose target it is.")


class BurstOfAlarms(Answered):
    """From 10 minutes with more than 10 alarms until 10 minutes with fewer than 5."""

    began: Shown
    ended: Shown
    alarms: int
    first_10_minutes: int
    grade: str = Field(description="How EEMUA 191 grades its first 10 minutes.")


class Frequent(Answered):
    """An alarm that comes often."""

    alarm: str = Field(description="Room, quantity and side.")
    times: int


class LoadOf(Answered):
    """The load of the farm, of a room or of a person."""

    alarms: int
    different: int = Field(description="How many different alarms those were.")
    rate: str = Field(description="How EEMUA 191 grades the average rate, if it is steady.")
    figures: list[FigureOfLoad]
    bursts: list[BurstOfAlarms]
    most_frequent: list[Frequent] = Field(description="At most ten.")
    came_three_times_within_a_minute: list[str]
    were_over_within_a_minute: list[str]
    open_at_the_end: int
    most_open_at_once: int
    open_for_more_than_a_day: int = Field(description="At the end of the span.")


class LoadOfRoom(LoadOf):
    """The load of a room."""

    room_id: str


class LoadOfPerson(LoadOf):
    """The load of a person."""

    person_id: str
    texts: int = Field(description="All that they got, the texts that tell of an end as well.")


class AlarmLoad(Answered):
    """How much alarms ask of people."""

    since: Shown = Field(description="Inclusive.")
    until: Shown = Field(description="Exclusive; not later than now.")
    farm: LoadOf
    rooms: list[LoadOfRoom]
    people: list[LoadOfPerson]


@router.get("/alarm-load", summary="How much alarms ask of people", description=ABOUT, responses=declared())
async def get_alarm_load(desk: AtDesk, span: AskedSpan) -> AlarmLoad:
    bounds = {"from_ms": span.from_ms, "to_ms": span.to_ms, "now_ms": desk.clock.now_ms()}
    async with desk.database.read() as connection:
        found = await farm_load(connection, desk.farm_id, **bounds)
    return AlarmLoad(
        since=found.from_ms,
        until=found.to_ms,
        farm=_load_of(found.farm),
        rooms=[LoadOfRoom(room_id=part.name, **dict(_load_of(part))) for part in found.rooms],
        people=[
            LoadOfPerson(person_id=part.name, texts=part.texts or 0, **dict(_load_of(part)))
            for part in found.people
        ],
    )


def _load_of(part: Part) -> LoadOf:
    load = part.load
    return LoadOf(
        alarms=load.alarms,
        different=load.different,
        rate=part.steady,
        figures=[FigureOfLoad(**asdict(line)) for line in part.lines],
        bursts=[
            BurstOfAlarms(
                began=burst.from_ms,
                ended=burst.to_ms,
                alarms=burst.alarms,
                first_10_minutes=burst.first_10_minutes,
                grade=burst.grade,
            )
            for burst in part.bursts
        ],
        most_frequent=[Frequent(alarm=alarm, times=times) for alarm, times in load.top_ten],
        came_three_times_within_a_minute=list(load.chattering),
        were_over_within_a_minute=list(load.fleeting),
        open_at_the_end=load.standing_at_end,
        most_open_at_once=load.most_standing,
        open_for_more_than_a_day=load.stale_at_end,
    )
