"""Moments as the demo prints them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Final

from simulator import farm

_FARM_ZONE: Final = timezone(timedelta(seconds=farm.SUN_OFFSET_S))
"""The valley's standard time, which is its clock time in the season of the demo."""


def farm_time(at_ms: int) -> str:
    """By the clock on the farm's wall: "2026-11-17 21:50:00"."""
    return datetime.fromtimestamp(at_ms / 1000, _FARM_ZONE).strftime("%Y-%m-%d %H:%M:%S")


def farm_clock(at_ms: int) -> str:
    """The same without the day: "21:50:00"."""
    return farm_time(at_ms).partition(" ")[2]


def real_time(at_ms: int) -> str:
    """By the clock of this machine, in UTC."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S")


def on_the_wire(at_ms: int) -> str:
    """ISO 8601 with offset, to the millisecond."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).isoformat(timespec="milliseconds")


def from_the_wire(moment: str) -> int:
    """Milliseconds since 1970 from ISO 8601 with an offset."""
    found = datetime.fromisoformat(moment)
    if found.tzinfo is None:
        raise ValueError(f"{moment!r} does not say its offset")
    return round(found.timestamp() * 1000)
