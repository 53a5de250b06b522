"""Which probes hang in a room, from when to when: a probe that was taken out speaks for the room no longer.

A value is dropped at the moment at which its probe leaves, however much is judged in one go. Kept any longer, the
last value of a probe that somebody carried out of the room could raise an alarm there, or keep one open.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rules.evaluate import evaluate
from rules.event import Event
from rules.limits import RoomLimits
from rules.model import Instant, ProbeId, Reading
from rules.room_state import RoomState


@dataclass(frozen=True, slots=True, kw_only=True)
class Hung:
    """A probe hangs in the room from a moment to a moment (``None``: until further notice)."""

    probe: ProbeId
    from_ms: Instant
    to_ms: Instant | None


def hanging(hung: Iterable[Hung], at_ms: Instant) -> frozenset[ProbeId]:
    """The probes that hang in the room at a moment."""
    return frozenset(h.probe for h in hung if h.from_ms <= at_ms and (h.to_ms is None or at_ms < h.to_ms))


def evaluate_where_hung(
    state: RoomState,
    *,
    schedule: Sequence[RoomLimits],
    readings: Iterable[Reading],
    until_ms: Instant,
    hung: Sequence[Hung] | None = None,
) -> tuple[RoomState, tuple[Event, ...]]:
    """Judge as :func:`rules.evaluate.evaluate` does, each probe dropped at the moment at which it leaves.

    Args:
        state: the room as judged so far.
        schedule: limits by the moment from which they hold, in order; the first reaches back before the state.
        readings: of this room's probes while they hung in it, any order, duplicates allowed.
        until_ms: how far to judge.
        hung: where the room's probes hung; one may be named more than once. ``None``: all of them throughout.
    """
    if hung is None:
        return evaluate(state, schedule=schedule, readings=readings, until_ms=until_ms)
    given = list(readings)
    events: tuple[Event, ...] = ()
    for to_ms in [*_leavings(hung, state.clock_ms, until_ms), until_ms]:
        placed = hanging(hung, state.clock_ms + 1)
        state, new = evaluate(state, schedule=schedule, readings=given, until_ms=to_ms, placed=placed)
        events = (*events, *new)
    return state, events


def _leavings(hung: Iterable[Hung], after_ms: Instant, until_ms: Instant) -> list[Instant]:
    """The last moments of probes that leave."""
    return sorted({h.to_ms - 1 for h in hung if h.to_ms is not None and after_ms < h.to_ms - 1 < until_ms})
