"""A room's night in figures."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Final

from fastapi import APIRouter, Query
from pydantic import Field

from rules.model import HOUR_MS, MINUTE_MS, UNIT
from service.api.access import AtDesk
from service.api.air import DIGITS
from service.api.fields import Answered, RoomId
from service.api.moments import Shown
from service.api.problems import declared
from service.errors import NotFound
from service.reports.night import Books, Line, QuantityNight
from service.reports.night_facts import (
    NEAR_SATURATION_PERCENT,
    Dose,
    NearSaturation,
    NightFacts,
    mean_of,
    night_facts,
)
from service.reports.span import newest_span, night_span

router = APIRouter(prefix="/rooms", tags=["rooms"])

ABOUT: Final = (
    "From the evening round to the morning round, or to now. Every figure is exact for readings at irregular "
    "moments and says for which share of the night it speaks: a value counts until the probe's next one, at most "
    "3 usual intervals or 15 min; means follow straight lines from reading to reading, over at most 15 min."
)


class ProbeMean(Answered):
    """One probe's night."""

    probe_id: str
    place: str
    mean: float | None = Field(description="Weighted by time; none for a single reading.")
    known_share: float = Field(description="0 to 1.")


class QuantityFacts(Answered):
    """One quantity's night."""

    quantity: str
    unit: str
    lowest: float | None
    highest: float | None
    known_share: float = Field(description="0 to 1.")
    minutes_outside: float = Field(description="Known time outside the band.")
    area_outside: float = Field(description="Unit times minutes: 3 points too dry for 10 minutes is 30.")
    times_outside: int
    probes: list[ProbeMean]


class DryingDose(Answered):
    """Drying power added up at the driest place."""

    kpa_h: float
    low: float = Field(description="If every probe showed 2 points of humidity too little all night.")
    high: float = Field(description="If every probe showed 2 points too much.")
    mean_kpa: float | None = Field(description="The drying power in the mean; none where nothing is known.")
    known_share: float = Field(description="0 to 1: the share with both temperature and humidity.")


class NearSaturated(Answered):
    """How long the wettest place was close to saturation."""

    from_percent: float = Field(description="%RH; air so humid, or more, counts.")
    hours: float
    longest_hours: float = Field(description="Unbroken.")
    known_share: float = Field(description="0 to 1.")


class Night(Answered):
    """A room's night."""

    room_id: str
    evening: date = Field(description="What the night is called by.")
    begins: Shown
    ends: Shown
    quantities: list[QuantityFacts]
    drying_dose: DryingDose | None = Field(description="None without a probe of each.")
    near_saturation: NearSaturated | None


@router.get("/{room_id}/night", summary="A room's night in figures", description=ABOUT, responses=declared(404))
async def get_night(
    desk: AtDesk,
    room_id: RoomId,
    *,
    evening: Annotated[date | None, Query(description="The last night that has begun, if absent.")] = None,
    near: Annotated[
        float, Query(ge=50, le=100, description="%RH from which the air counts as close to saturation.")
    ] = NEAR_SATURATION_PERCENT,
) -> Night:
    now_ms = desk.clock.now_ms()
    span = newest_span(desk.farm, now_ms) if evening is None else night_span(desk.farm, evening, now_ms)
    if span is None:
        raise NotFound("that night has not begun yet, or lies before anything was kept")
    async with desk.database.read() as connection:
        books = Books(connection=connection, farm=desk.farm, profiles=desk.catalogue)
        return _night(await night_facts(books, room_id, span, near_percent=near))


def _night(facts: NightFacts) -> Night:
    night, dose, near = facts.night, facts.dose, facts.near_saturation
    return Night(
        room_id=night.room["room_id"],
        evening=night.span.evening,
        begins=night.span.from_ms,
        ends=night.span.to_ms,
        quantities=[_quantity(q) for q in night.quantities],
        drying_dose=None if dose is None else _dose(dose),
        near_saturation=None if near is None else _near(near),
    )


def _dose(dose: Dose) -> DryingDose:
    return DryingDose(
        kpa_h=round(dose.kpa_h, DIGITS),
        low=round(dose.low_kpa_h, DIGITS),
        high=round(dose.high_kpa_h, DIGITS),
        mean_kpa=None if dose.mean_kpa is None else round(dose.mean_kpa, DIGITS),
        known_share=round(dose.coverage, DIGITS),
    )


def _near(near: NearSaturation) -> NearSaturated:
    return NearSaturated(
        from_percent=near.threshold_percent,
        hours=round(near.hours, DIGITS),
        longest_hours=round(near.longest_ms / HOUR_MS, DIGITS),
        known_share=round(near.coverage, DIGITS),
    )


def _quantity(quantity: QuantityNight) -> QuantityFacts:
    whole = quantity.outside.exposure
    lowest, highest = quantity.spread or (None, None)
    return QuantityFacts(
        quantity=quantity.quantity.value,
        unit=UNIT[quantity.quantity],
        lowest=lowest,
        highest=highest,
        known_share=round(whole.coverage, DIGITS),
        minutes_outside=round(whole.outside_ms / MINUTE_MS, DIGITS),
        area_outside=round(whole.area, DIGITS),
        times_outside=len(whole.stretches),
        probes=[_probe(line, quantity) for line in quantity.lines],
    )


def _probe(line: Line, quantity: QuantityNight) -> ProbeMean:
    mean = mean_of(line, quantity)
    return ProbeMean(
        probe_id=line.probe_id,
        place=line.place,
        mean=None if mean is None else round(mean.value, DIGITS),
        known_share=0.0 if mean is None else round(mean.coverage, DIGITS),
    )
