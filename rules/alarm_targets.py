"""What alarm load is held to: figure by figure, with whose target it is and how far we could read it.

All targets are for one person at a time in a plant with thousands of alarms. A farm has a few dozen, so most are
met many times over; they are kept because nobody has better ones. The bought standards (ANSI/ISA-18.2-2016, table
7; IEC 62682:2014; EEMUA 191, 3rd edition, pages 96-97) were not opened: the figures are read where others restate
them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from rules.alarm_load import TOP, Load

ISA: Final = "ISA-18.2 / IEC 62682"


class Steady(StrEnum):
    """How EEMUA 191 grades a steady rate of alarms for one person."""

    ACCEPTABLE = "very likely acceptable"
    MANAGEABLE = "manageable"
    OVER_DEMANDING = "likely to be over-demanding"
    UNACCEPTABLE = "very likely unacceptable"


class InFlood(StrEnum):
    """How EEMUA 191 grades the first 10 minutes of a flood."""

    MANAGEABLE = "manageable"
    NOT_GRADED = "between manageable and hard"
    HARD = "hard"
    EXCESSIVE = "excessive"


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What one figure is held to."""

    figure: str
    """A field of :class:`rules.alarm_load.Load`; of a tuple its length is meant."""
    unit: str
    most: float
    """Met up to here."""
    below: bool = False
    """Met only below ``most``."""
    manageable: float | None = None
    """What is no longer on target, yet can be lived with up to here."""
    least: float | None = None
    whose: str = ISA

    def is_met(self, value: float) -> bool:
        """True when a value is on target. Less than ``least`` is better still."""
        return value < self.most if self.below else value <= self.most


TARGETS: Final = (
    Target(figure="per_day", unit="alarms/day", most=144, manageable=288),
    Target(figure="per_hour", unit="alarms/h", most=6, manageable=12),
    Target(figure="per_10_min", unit="alarms/10 min", most=1, manageable=2),
    Target(figure="most_in_any_10_min", unit="alarms", most=10),
    Target(figure="share_of_periods_above_10", unit="%", most=1, below=True),
    Target(figure="share_of_hours_above_30", unit="%", most=1, below=True),
    Target(figure="share_of_time_in_flood", unit="%", most=1, below=True),
    Target(figure="top_ten_share", unit="%", most=5, least=1),
    Target(figure="chattering", unit="alarms", most=0),
    Target(figure="fleeting", unit="alarms", most=0),
    Target(figure="most_stale_on_a_day", unit="alarms", most=5, below=True),
)

STEADY_ACCEPTABLE_BELOW: Final = 1
"""Alarms in 10 minutes, as the three that follow: below one in 10 minutes (EEMUA 191)."""
STEADY_MANAGEABLE_UP_TO: Final = 2
"""One in 5 minutes."""
STEADY_UNACCEPTABLE_ABOVE: Final = 10
"""One a minute."""
FLOOD_MANAGEABLE_BELOW: Final = 10
FLOOD_HARD_FROM: Final = 20
FLOOD_EXCESSIVE_ABOVE: Final = 100


def value_of(load: Load, target: Target) -> float | None:
    """The figure that a target is about; ``None`` when there is none."""
    value = getattr(load, target.figure)
    if isinstance(value, tuple):
        return len(value)
    return None if value is None else float(value)


def meets(load: Load, target: Target) -> bool | None:
    """Whether a load is on target; ``None`` when it cannot be told.

    Where fewer than 200 different alarms came, the ten most frequent make more than 5 % of them whatever anybody
    does: that target then says nothing.
    """
    value = value_of(load, target)
    if value is None or (target.figure == "top_ten_share" and load.different * target.most < 100 * TOP):
        return None
    return target.is_met(value)


def steady(per_10_min: float) -> Steady:
    """Grade a steady rate.

    EEMUA 191 names four rates and says nothing of those between: from one in 5 minutes to one a minute all count
    as the one it names there, one in 2 minutes.
    """
    if per_10_min < STEADY_ACCEPTABLE_BELOW:
        return Steady.ACCEPTABLE
    if per_10_min <= STEADY_MANAGEABLE_UP_TO:
        return Steady.MANAGEABLE
    return Steady.OVER_DEMANDING if per_10_min <= STEADY_UNACCEPTABLE_ABOVE else Steady.UNACCEPTABLE


def in_flood(first_10_min: int) -> InFlood:
    """Grade the first 10 minutes of a flood by their alarms; 10 to 19 have no name."""
    if first_10_min < FLOOD_MANAGEABLE_BELOW:
        return InFlood.MANAGEABLE
    if first_10_min < FLOOD_HARD_FROM:
        return InFlood.NOT_GRADED
    return InFlood.HARD if first_10_min <= FLOOD_EXCESSIVE_ABOVE else InFlood.EXCESSIVE
