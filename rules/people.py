"""CO2 limits for people: when a room has passed one, and when somebody must hear of it at once.

These limits hold in every room, whatever grows there. They belong to the farm and never to a profile. Nothing
holds them back: not a room's first days, not figures that nobody stands for, not "working" or "leave until", and
not doubt about a probe. What is measured is a room's air, not what one person breathed.

Where the usual figures come from, local codes coming first:

* 5000 ppm over 8 h: OSHA, 29 CFR 1910.1000 table Z-1; the NIOSH limit for a working day is the same figure.
* 30000 ppm over 15 min: the short-term limit of NIOSH and ACGIH (from memory). NIOSH 1976 gave the same figure as
  a ceiling over 10 min, which is superseded.
* no ceiling, until the farm sets one.

How air turns into passed limits stands in :mod:`rules.people_air`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

from rules.alarm import Happens, IllegalMove, Moved, State, move
from rules.model import HOUR_MS, MINUTE_MS, Quantity, Side

PEOPLE_KEY: Final = (Quantity.CO2, Side.PEOPLE)
"""What the alarm of a room's people limits is known by."""

EIGHT_HOURS_MS: Final = 8 * HOUR_MS
FIFTEEN_MINUTES_MS: Final = 15 * MINUTE_MS
BACK_SHARE: Final = 0.9
"""A passed limit is over once the figure is back to this share of it (our judgement: standards name no margin)."""
GOING_COUNTS_MS: Final = 2 * HOUR_MS
"""So long after "going" a person is taken to be in the room or on the way, if nothing says otherwise."""
NEVER_HELD: Final = frozenset({Happens.SHELVED, Happens.SUPPRESSED, Happens.REMOVED})


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleLimits:
    """A farm's CO2 limits for people, in ppm."""

    eight_hours_ppm: float = 5000.0
    fifteen_minutes_ppm: float = 30000.0
    ceiling_ppm: float | None = None

    @classmethod
    def set_by(
        cls, *, eight_hours_ppm: float | None, fifteen_minutes_ppm: float | None, ceiling_ppm: float | None
    ) -> PeopleLimits:
        """The limits a farm set, the usual figure where it set none."""
        usual = cls(ceiling_ppm=ceiling_ppm)
        return cls(
            eight_hours_ppm=usual.eight_hours_ppm if eight_hours_ppm is None else eight_hours_ppm,
            fifteen_minutes_ppm=usual.fifteen_minutes_ppm if fifteen_minutes_ppm is None else fifteen_minutes_ppm,
            ceiling_ppm=ceiling_ppm,
        )

    def of(self, level: Level) -> float | None:
        """The figure that ``level`` is about; ``None`` for a ceiling that is not set."""
        if level is Level.EIGHT_HOURS:
            return self.eight_hours_ppm
        return self.ceiling_ppm if level is Level.CEILING else self.fifteen_minutes_ppm


class Level(StrEnum):
    """How far the air is beyond what people may be in, the least first."""

    EIGHT_HOURS = "8 hours"
    """The average of the last eight hours is over its limit."""
    AT_TOP = "at the top"
    """A probe reads no higher than it does now, and that is under the short-term limit: it may be passed."""
    FIFTEEN_MINUTES = "15 minutes"
    """The mean of the last fifteen minutes is over the short-term limit."""
    CEILING = "ceiling"
    """A value is over the ceiling."""

    @property
    def depth(self) -> int:
        """Counted from 1; a deeper one speaks again."""
        return list(Level).index(self) + 1


def deepest(levels: Iterable[Level]) -> Level | None:
    """The deepest of these levels, if there is one."""
    return max(levels, key=lambda level: level.depth, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence:
    """Who may be breathing the air of a room."""

    inside: frozenset[str] = frozenset()
    """A mark for everyone logged inside or on the way; a new mark is somebody who has not been told yet."""
    work_hours: bool = False
    """Between the morning and the evening round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grown:
    """What a room's crop means for its people limits."""

    above_on_purpose: bool = False
    """A stage here is grown above the eight-hour limit on purpose."""
    air_is_above: bool = False
    """The air of now is above the figure of the eight-hour limit, or nobody can say that it is not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What was said of a room's people limits since they were passed. An empty case: nothing is passed."""

    depth: int = 0
    """How deep the alarm is; 0 while it is not open."""
    danger_depth: int = 0
    """The deepest level that people were told of at once."""
    told: frozenset[str] = frozenset()
    """Marks of those inside who were told of since."""

    @property
    def is_open(self) -> bool:
        """True while a limit is passed that counts."""
        return self.depth > 0


class Telling(StrEnum):
    """How people hear of it."""

    DANGER = "danger"
    """At once, whatever the hour, and held back by nothing."""
    ROUND = "round"
    """On the round sheet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """What becomes of the alarm, and what is told. ``happens`` is ``None`` where only a telling is due."""

    happens: Happens | None
    level: Level | None
    """``None`` when it is over."""
    telling: Telling | None


def counting(case: Case, over: AbstractSet[Level], presence: Presence, grown: Grown) -> frozenset[Level]:
    """The passed levels that make an alarm.

    Where a stage is grown above the limit on purpose, the room is marked "air out before entry" instead, as long
    as nobody is logged inside or on the way while the air is above. The short-term limit and the ceiling always
    count.
    """
    may_be_breathed = presence.inside and (grown.air_is_above or case.is_open)
    if grown.above_on_purpose and not may_be_breathed:
        return frozenset(over) - {Level.EIGHT_HOURS, Level.AT_TOP}
    return frozenset(over)


def is_danger(counted: AbstractSet[Level], presence: Presence) -> bool:
    """Whether passed levels are told at once: somebody is or may be in there, or nobody should be at any hour."""
    return Level.FIFTEEN_MINUTES in counted or bool(presence.inside) or presence.work_hours


def decide(
    case: Case, over: AbstractSet[Level], presence: Presence, grown: Grown = Grown()
) -> tuple[Case, Act | None]:
    """What follows from the levels that are passed, given who may be there.

    Danger is told when a limit is passed, again when a deeper one is, and once for everyone who goes in meanwhile.

    Args:
        case: what was said so far.
        over: the levels passed now.
        presence: who may be in the room.
        grown: what grows there.

    Returns:
        The case after it, and what to do; ``None`` for nothing.
    """
    counted = counting(case, over, presence, grown)
    level = deepest(counted)
    if level is None:
        over_act = Act(happens=Happens.CLEARED, level=None, telling=None)
        return Case(), over_act if case.is_open else None
    happens = _happens(case, level)
    telling = Telling.ROUND if happens else None
    danger_depth, told = case.danger_depth, case.told
    if is_danger(counted, presence) and (level.depth > danger_depth or presence.inside - told):
        telling = Telling.DANGER
        danger_depth, told = max(danger_depth, level.depth), told | presence.inside
    after = replace(case, depth=max(case.depth, level.depth), danger_depth=danger_depth, told=told)
    return after, None if telling is None else Act(happens=happens, level=level, telling=telling)


def _happens(case: Case, level: Level) -> Happens | None:
    if not case.is_open:
        return Happens.RAISED
    return Happens.DEEPENED if level.depth > case.depth else None


def move_people(state: State, happens: Happens) -> Moved:
    """Move the alarm of people limits; it knows the table's moves less those that would hide it.

    Raises:
        IllegalMove: the table has no such pair, or it would hold the alarm back, which nobody may.
    """
    if happens in NEVER_HELD:
        raise IllegalMove(f"{happens.value!r} cannot happen to a limit for people: nothing holds it back")
    return move(state, happens)


def case_to_plain(case: Case) -> dict[str, Any]:
    """Write ``case`` as values that JSON can hold."""
    return {"depth": case.depth, "danger_depth": case.danger_depth, "told": sorted(case.told)}


def case_from_plain(plain: Mapping[str, Any]) -> Case:
    """Read back what :func:`case_to_plain` wrote."""
    return Case(depth=plain["depth"], danger_depth=plain["danger_depth"], told=frozenset(plain["told"]))
