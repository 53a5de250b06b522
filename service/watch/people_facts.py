"""The facts of what is told about people limits, frozen when it is told; and the figures that pages show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from rules.people import Level
from rules.people_air import Figures, Mean

FULL_COVERAGE: Final = 0.95
"""Where less of the time is known, an average is said with "at least": what is unknown was counted as nothing."""


def danger_facts(level: Level, now: Figures, limit: float | None, inside: Sequence[str]) -> dict[str, Any]:
    """What is passed, by which figure."""
    value, at_least, coverage = now.now_ppm, now.now_at_top, 1.0
    if level in {Level.EIGHT_HOURS, Level.FIFTEEN_MINUTES}:
        mean = now.eight_hours if level is Level.EIGHT_HOURS else now.fifteen_minutes
        value, at_least, coverage = mean.ppm, is_at_least(mean), mean.coverage
    return {
        "level": level.value,
        "value": value,
        "at_least": at_least,
        "coverage": coverage,
        "limit": limit,
        "inside": list(inside),
    }


def over_facts(now: Figures, *, still_above: bool) -> dict[str, Any]:
    """That no limit is passed any more; or that nobody is inside any more where it is passed on purpose."""
    return {"value": now.now_ppm, "at_least": now.now_at_top, "still_above": still_above}


def is_at_least(mean: Mean) -> bool:
    """Whether the true figure may well be higher."""
    return mean.at_top_ms > 0 or mean.coverage < FULL_COVERAGE


def figures_to_plain(now: Figures, over: Iterable[Level]) -> dict[str, Any]:
    """The figures of a room as pages show them."""
    return {
        "at_ms": now.at_ms,
        "now_ppm": now.now_ppm,
        "now_at_top": now.now_at_top,
        "fifteen_minutes": _plain(now.fifteen_minutes),
        "eight_hours": _plain(now.eight_hours),
        "over": sorted(over),
    }


def _plain(mean: Mean) -> dict[str, Any]:
    return {"ppm": mean.ppm, "at_least": is_at_least(mean), "coverage": mean.coverage}
