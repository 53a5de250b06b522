"""CO2 limits for people: the farm's own, or the usual ones; and how a room stands against them."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi import APIRouter
from pydantic import Field, model_validator

from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, Who
from service.api.moments import Shown
from service.api.problems import declared
from service.reports.people_air import Average, PeopleAir, people_limits
from service.storage import rooms
from service.wording.people_texts import ENGLISH_PEOPLE
from service.wording.sheet_phrases import ENGLISH_SHEET

router = APIRouter(prefix="/farm/people-limits", tags=["farm"])

_EIGHT_HOURS_SOURCE: Final = "OSHA, 29 CFR 1910.1000 table Z-1, average of 8 h; NIOSH names the same figure"
_FIFTEEN_MINUTES_SOURCE: Final = "NIOSH and ACGIH short-term limit, mean of 15 min (from memory)"
_OWN: Final = "the farm's own"
_LOCAL_CODES: Final = (
    "Local codes come first: ask who knows them before you set a figure of your own. These are room averages, not "
    "a person's exposure, and Houseband is no gas detector."
)


class PeopleLimitsChange(Asked):
    """The farm's limits. Null takes the usual figure, and no ceiling."""

    eight_hours_ppm: Annotated[float, Field(ge=600, le=10_000)] | None
    fifteen_minutes_ppm: Annotated[float, Field(ge=1000, le=40_000)] | None
    ceiling_ppm: Annotated[float, Field(ge=1000, le=40_000)] | None
    who: Who

    @model_validator(mode="after")
    def _in_order(self) -> PeopleLimitsChange:
        limits = people_limits(_columns(self))
        if limits.fifteen_minutes_ppm < limits.eight_hours_ppm:
            raise ValueError("the limit over 15 minutes cannot be under the limit over 8 hours")
        if limits.ceiling_ppm is not None and limits.ceiling_ppm < limits.eight_hours_ppm:
            raise ValueError("the ceiling cannot be under the limit over 8 hours")
        return self


class LimitFigure(Answered):
    """A limit and where it comes from."""

    ppm: float
    source: str


class PeopleLimits(Answered):
    """The limits in force in every room, whatever grows there."""

    eight_hours: LimitFigure = Field(description="For the average of 8 h; the divisor stays 8 for a longer shift.")
    fifteen_minutes: LimitFigure = Field(description="For the mean of 15 min.")
    ceiling: LimitFigure | None = Field(description="For any single value; none unless the farm set one.")
    caution: str


class AverageHere(Answered):
    """An average; time of which nothing is known counts as nothing."""

    ppm: float
    at_least: bool
    coverage: float = Field(description="The share of the time of which something is known.")


class PeopleHere(Answered):
    """How a room's air stands against the limits for people."""

    at: Shown
    now_ppm: float | None = Field(description="None when no probe is heard.")
    now_at_least: bool = Field(description="A probe reads no higher than it does now.")
    fifteen_minutes: AverageHere
    eight_hours: AverageHere
    passed: list[str] = Field(
        description='Of "8 hours", "at the top" (a probe reads no higher: may be passed), "15 minutes", "ceiling".'
    )
    note: str


@router.get("", summary="CO2 limits for people", responses=declared())
async def get_people_limits(desk: AtDesk) -> PeopleLimits:
    return _shown(desk.farm)


@router.put(
    "",
    summary="Change the CO2 limits for people",
    description="They hold at once, in every room. Nothing holds them back.",
    responses=declared(),
)
async def put_people_limits(desk: AtDesk, change: PeopleLimitsChange) -> PeopleLimits:
    values = {**_columns(change), "who": change.who}
    async with changing(desk) as connection:
        await rooms.change_farm(connection, desk.farm_id, values)
    desk.farm.update(values)
    return _shown(desk.farm)


def people_here(air: PeopleAir) -> PeopleHere:
    """A room's air as programs read it."""
    return PeopleHere(
        at=air.at_ms,
        now_ppm=air.now_ppm,
        now_at_least=air.now_at_top,
        fifteen_minutes=_average(air.fifteen_minutes),
        eight_hours=_average(air.eight_hours),
        passed=[level.value for level in air.passed],
        note=ENGLISH_PEOPLE.not_exposure,
    )


def entry_cautions(room_word: str) -> list[str]:
    """What to mind before going in where a limit for people is passed, or is meant to be."""
    return [ENGLISH_PEOPLE.air_out, *(line.format(room=room_word) for line in ENGLISH_SHEET.caution_co2)]


def _columns(change: PeopleLimitsChange) -> dict[str, float | None]:
    return {
        "people_8h_ppm": change.eight_hours_ppm,
        "people_15min_ppm": change.fifteen_minutes_ppm,
        "people_ceiling_ppm": change.ceiling_ppm,
    }


def _shown(farm: dict[str, float | None]) -> PeopleLimits:
    limits = people_limits(farm)
    eight = _EIGHT_HOURS_SOURCE if farm["people_8h_ppm"] is None else _OWN
    fifteen = _FIFTEEN_MINUTES_SOURCE if farm["people_15min_ppm"] is None else _OWN
    ceiling = limits.ceiling_ppm
    return PeopleLimits(
        eight_hours=LimitFigure(ppm=limits.eight_hours_ppm, source=eight),
        fifteen_minutes=LimitFigure(ppm=limits.fifteen_minutes_ppm, source=fifteen),
        ceiling=None if ceiling is None else LimitFigure(ppm=ceiling, source=_OWN),
        caution=_LOCAL_CODES,
    )


def _average(average: Average) -> AverageHere:
    return AverageHere(ppm=average.ppm, at_least=average.at_least, coverage=average.coverage)
