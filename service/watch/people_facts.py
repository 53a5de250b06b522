"""The facts of what is told about people limits, frozen when it is told; and the figures that pages show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from rules.people import Level, PeopleLimits
from rules.people_air import Figures, Mean, Spoken, is_at_least, spoken


def danger_facts(level: Level, now: Figures, limits: PeopleLimits, inside: Sequence[str]) -> dict[str, Any]:
    """What is passed, by which figure."""
    said = spoken(level, now, limits)
    return {
        "level": level.value,
        "value": said.ppm,
        "at_least": said.at_least,
        "coverage": said.coverage,
        "limit": limits.of(level),
        "inside": list(inside),
    }


def over_facts(now: Figures, *, still_above: bool) -> dict[str, Any]:
    """That no limit is passed any more; or that nobody is inside any more where it is passed on purpose."""
    return {"value": now.now_ppm, "at_least": now.now_at_top, "still_above": still_above}


def figures_to_plain(now: Figures, over: Iterable[Level], limits: PeopleLimits) -> dict[str, Any]:
    """The figures of a room as pages show them."""
    passed = sorted(over, key=lambda level: level.depth)
    return {
        "at_ms": now.at_ms,
        "now_ppm": now.now_ppm,
        "now_at_top": now.now_at_top,
        "fifteen_minutes": _average(now.fifteen_minutes),
        "eight_hours": _average(now.eight_hours),
        "passed": {level.value: _spoken(spoken(level, now, limits)) for level in passed},
    }


def _average(mean: Mean) -> dict[str, Any]:
    return {"ppm": mean.ppm, "at_least": is_at_least(mean), "coverage": mean.coverage}


def _spoken(said: Spoken) -> dict[str, Any]:
    return {"ppm": said.ppm, "at_least": said.at_least, "coverage": said.coverage}
