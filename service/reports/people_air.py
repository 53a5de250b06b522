"""How a room's air stands against the limits for people, as it was judged last: for pages, sheet and programs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rules.model import Instant
from rules.people import Level, PeopleLimits
from service.storage import people_air
from service.storage.database import Connection
from service.storage.rows import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Average:
    """An average in ppm, what is unknown counted as nothing."""

    ppm: float
    at_least: bool
    """A probe read no higher, or too little of the time is known: the true figure may well be higher."""
    coverage: float
    """The share of the time of which something is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleAir:
    """The air of a room where CO2 is heard, or was in the last hours."""

    at_ms: Instant
    now_ppm: float | None
    now_at_top: bool
    fifteen_minutes: Average
    eight_hours: Average
    passed: Mapping[Level, Average]
    """The levels that are passed, the least first, and by which figure; those too that are passed on purpose."""
    limits: PeopleLimits


async def people_air_of(connection: Connection, farm: Record, room_id: str) -> PeopleAir | None:
    """How the air of a room stands; ``None`` where CO2 was never heard."""
    kept = (await people_air.remembered(connection, farm["farm_id"], room_id)).state
    if kept is None:
        return None
    figures: Mapping[str, Any] = kept["figures"]
    return PeopleAir(
        at_ms=figures["at_ms"],
        now_ppm=figures["now_ppm"],
        now_at_top=figures["now_at_top"],
        fifteen_minutes=Average(**figures["fifteen_minutes"]),
        eight_hours=Average(**figures["eight_hours"]),
        passed={Level(level): Average(**said) for level, said in figures["passed"].items()},
        limits=people_limits(farm),
    )


def people_limits(farm: Record) -> PeopleLimits:
    """The farm's own limits for people, the usual figures where it set none."""
    return PeopleLimits.set_by(
        eight_hours_ppm=farm.get("people_8h_ppm"),
        fifteen_minutes_ppm=farm.get("people_15min_ppm"),
        ceiling_ppm=farm.get("people_ceiling_ppm"),
    )
