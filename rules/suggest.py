"""Text limits suggested for the first days of a room: the nearest ones with which those would have been quiet.

A room that is new to us is judged and wakes nobody. What would have woken somebody is either a limit too near for
this room, or a room in trouble; which of the two, only a person can tell. So a limit is moved outward in steps of
what an ordinary probe may be off (a smaller move is no move), each tried on the days themselves, and never as far
as the far limit: a room that needs that is not quiet, it is far out.

How far a limit may be moved where there is no far limit is our own judgement.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rules.event import Change, Event
from rules.history import History
from rules.limits import Key, RoomLimit, RoomLimits
from rules.model import UNIT, Instant, Side
from rules.profile_limits import probe_accuracy
from rules.replay import replay
from rules.room_state import RoomState

MOST_STEPS: Final = 5
_DIGITS: Final = 1
"""Limits are shown, and set, to a tenth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """One limit that would have texted, and where it would not have."""

    key: Key
    limit: float
    """As it stood at the end of the days, in the quantity's unit."""
    times: int
    """How often it was passed for its whole wait."""
    suggested: float | None
    """The nearest limit with which the days would have been quiet; ``None``: none within reason."""


def suggest(
    history: Sequence[History], *, schedule: Sequence[RoomLimits], from_ms: Instant, until_ms: Instant
) -> tuple[Suggestion, ...]:
    """Suggest a limit for each that was passed for its whole wait in a span, by quantity and side.

    Args:
        history: of the room's probes.
        schedule: the limits by the moment from which they hold; holds in it hold nothing back here.
        from_ms: from when (exclusive).
        until_ms: up to when (inclusive). A limit that is gone by then is not suggested anew.
    """
    told = [replace(limits, holds={}) for limits in schedule]
    last = next((limits for limits in reversed(told) if limits.from_ms <= until_ms), None)
    found = []
    for key, limit in sorted(() if last is None else last.limits.items(), key=_key):
        mine = [one for one in history if one.quantity is key[0]]
        days = _Days(history=mine, schedule=told, from_ms=from_ms, until_ms=until_ms)
        if times := days.times(key, moved=0.0):
            found.append(
                Suggestion(key=key, limit=limit.near.limit, times=times, suggested=days.quiet(key, limit))
            )
    return tuple(found)


def _key(item: tuple[Key, RoomLimit]) -> Key:
    return item[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Days:
    history: Sequence[History]
    schedule: Sequence[RoomLimits]
    from_ms: Instant
    until_ms: Instant

    def times(self, key: Key, *, moved: float) -> int:
        """How often the limit is passed for its whole wait when it is moved outward by so much."""
        schedule = [_moved(limits, key, moved) for limits in self.schedule]
        start = RoomState(clock_ms=self.from_ms)
        _, events = replay(self.history, schedule=schedule, until_ms=self.until_ms, state=start)
        return sum(_is_raised(events, key))

    def quiet(self, key: Key, limit: RoomLimit) -> float | None:
        """The nearest limit with which it is not passed at all."""
        step = probe_accuracy(key[0], limit.near.limit) if key[0] in UNIT else 0.0
        for steps in range(1, MOST_STEPS + 1 if step else 1):
            tried = round(limit.near.limit + _outward(key[1]) * steps * step, _DIGITS)
            if limit.far is not None and _outward(key[1]) * (limit.far.limit - tried) <= 0:
                return None
            if not self.times(key, moved=steps * step):
                return tried
        return None


def _is_raised(events: Iterable[Event], key: Key) -> Iterable[bool]:
    return (event.key == key and event.change is Change.RAISED for event in events)


def _outward(side: Side) -> float:
    return -1.0 if side is Side.LOW else 1.0


def _moved(limits: RoomLimits, key: Key, by: float) -> RoomLimits:
    limit = limits.limits.get(key)
    if limit is None or by == 0:
        return limits
    at = round(limit.near.limit + _outward(key[1]) * by, _DIGITS)
    return replace(limits, limits={**limits.limits, key: replace(limit, near=replace(limit.near, limit=at))})
