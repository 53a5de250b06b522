"""Whether a probe's battery is fading, told from its own past.

A cold night pulls a cell's voltage down and noon brings it back, so a day counts by its highest value. The newest
two days that were heard are compared, not the lowest of a week: whoever put in a new battery yesterday must not be
told to change it. All figures are our judgement.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median
from typing import Final

NEWEST_DAYS: Final = 7
"""Older than that, a probe's battery is not known now."""
COMPARED_DAYS: Final = 2
"""Of the newest days, so many count: at least one of them holds a noon."""
BEFORE_DAYS: Final = 28
"""How many days before those of ``NEWEST_DAYS`` say what is usual for this probe."""
FEWEST_BEFORE: Final = 7
FALLEN_SHARE: Final = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class Fading:
    """A battery that should be changed."""

    volts: float
    before_volts: float | None
    """The median of the weeks before; ``None`` where there were too few days to say."""


def fading(highest: Iterable[tuple[int, float]], *, today: int, least_volts: float | None = None) -> Fading | None:
    """Whether a battery should be changed this week.

    Args:
        highest: for each day (by number, in any order) on which it was heard, the highest value in volts.
        today: the number of today.
        least_volts: under this it is to be changed, whatever it was before.

    Returns:
        ``None`` when it is well, or when nothing can be said.
    """
    by_day = dict(highest)
    newest = sorted((day for day in by_day if today - NEWEST_DAYS < day <= today), reverse=True)[:COMPARED_DAYS]
    if not newest:
        return None
    first = today - NEWEST_DAYS - BEFORE_DAYS
    earlier = [volts for day, volts in by_day.items() if first < day <= today - NEWEST_DAYS]
    volts = max(by_day[day] for day in newest)
    before = median(earlier) if len(earlier) >= FEWEST_BEFORE else None
    fell = before is not None and volts <= before * (1 - FALLEN_SHARE)
    is_under = least_volts is not None and volts < least_volts
    return Fading(volts=volts, before_volts=before) if fell or is_under else None
