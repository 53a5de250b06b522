"""A room's night in figures, for programs and for whoever compares nights: means, drying, wet hours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.drying_dose import Dose, NearSaturation, drying_dose, near_saturation
from rules.means import Mean, trapezoid_mean
from rules.model import Instant, Quantity, Reading
from rules.profile_limits import probe_accuracy
from rules.room_state import LONGEST_HOLD_MS
from service.reports.air import Air, air_now
from service.reports.night import LEAD_MS, Books, Ledger, Line, QuantityNight, RoomNight, heard_there, room_night
from service.reports.span import Span
from service.storage import rooms

__all__ = [
    "NEAR_SATURATION_PERCENT",
    "Dose",
    "NearSaturation",
    "NightFacts",
    "air_of_room",
    "mean_of",
    "night_facts",
]

NEAR_SATURATION_PERCENT: Final = 100.0 - probe_accuracy(Quantity.HUMIDITY, 100.0)
"""From here on an ordinary probe cannot tell the air from saturated air."""
_NOTHING_TOLD: Final = Ledger(alarms=(), notices=(), tellings=(), answers=())


@dataclass(frozen=True, slots=True, kw_only=True)
class NightFacts:
    """One room over a span."""

    night: RoomNight
    dose: Dose | None
    """``None`` where the room has no probe of humidity, or none of temperature. So below for humidity alone."""
    near_saturation: NearSaturation | None


async def night_facts(
    books: Books, room_id: str, span: Span, *, near_percent: float = NEAR_SATURATION_PERCENT
) -> NightFacts:
    """Work out one room's night.

    Raises:
        NotFound: the farm has no such room.
    """
    night = await room_night(books, room_id, span, _NOTHING_TOLD)
    readings = await _readings(books, room_id, span.from_ms - LEAD_MS, span.to_ms)
    warm, damp = (_of(readings, quantity) for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY))
    within = {"from_ms": span.from_ms, "to_ms": span.to_ms}
    off = probe_accuracy(Quantity.HUMIDITY, 100.0)
    return NightFacts(
        night=night,
        dose=drying_dose(warm, damp, **within, accuracy_percent=off) if warm and damp else None,
        near_saturation=near_saturation(damp, threshold_percent=near_percent, **within) if damp else None,
    )


def mean_of(line: Line, quantity: QuantityNight) -> Mean | None:
    """One probe's mean along straight lines, none of them longer than a value may speak for a room."""
    whole = quantity.outside.exposure
    return trapezoid_mean(line.points, from_ms=whole.from_ms, to_ms=whole.to_ms, longest_gap_ms=LONGEST_HOLD_MS)


async def air_of_room(books: Books, room_id: str, now_ms: Instant) -> Air | None:
    """What temperature and humidity of a room say together now; ``None`` while either is not known."""
    readings = await _readings(books, room_id, now_ms - LEAD_MS, now_ms + 1)
    placed = await rooms.placements_in(books.connection, books.farm_id, room_id, from_ms=now_ms)
    places = {p["probe_id"]: p["place"] for p in placed}
    return air_now(readings, places=places, altitude_m=books.farm["altitude_m"], now_ms=now_ms)


async def _readings(books: Books, room_id: str, from_ms: Instant, to_ms: Instant) -> list[Reading]:
    placed = await rooms.placements_in(books.connection, books.farm_id, room_id, from_ms=from_ms)
    return [heard.reading for heard in await heard_there(books, placed, from_ms, to_ms)]


def _of(readings: list[Reading], quantity: Quantity) -> list[Reading]:
    return [reading for reading in readings if reading.quantity is quantity]
