"""One limit on one quantity: when is it passed, and when is that over?

The meaning of the two delays and the margin follows OPC 10000-9 (UA Part 9), B.1.5 and 5.8, the open text that
restates ISA-18.2: speak only after the limit was exceeded for the *whole* wait; stop only after the value came
back by the margin for the *whole* recover time. A value exactly on the limit is not beyond it; a value exactly
on limit and margin is back.

A :class:`Watch` is advanced by two functions that never both count at one moment: :func:`elapse` lets a timer
that is due fire, :func:`see` takes a new value. The caller fires timers first.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from rules.model import Instant, Side

_DIGITS: Final = 9
"""Limit and margin are written in tenths: their sum must be the tenth that a probe reports, to the last bit."""


class Phase(StrEnum):
    """Where a limit stands."""

    INSIDE = "inside"
    WAITING = "waiting"
    BEYOND = "beyond"
    RECOVERING = "recovering"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A limit with its delays. ``limit`` and ``recover_margin`` are in the quantity's unit."""

    side: Side
    limit: float
    wait_ms: int
    recover_margin: float
    recover_ms: int

    def is_beyond(self, value: float) -> bool:
        """True when ``value`` is on the wrong side of the limit."""
        return value < self.limit if self.side is Side.LOW else value > self.limit

    def is_back(self, value: float) -> bool:
        """True when ``value`` has come back inside by at least the margin."""
        margin = self.recover_margin if self.side is Side.LOW else -self.recover_margin
        back_at = round(self.limit + margin, _DIGITS)
        return value >= back_at if self.side is Side.LOW else value <= back_at


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """A limit's phase, and since when."""

    phase: Phase
    since_ms: Instant


def due_ms(limit: Limit, watch: Watch) -> Instant | None:
    """When the running timer of ``watch`` ends, if one runs."""
    if watch.phase is Phase.WAITING:
        return watch.since_ms + limit.wait_ms
    if watch.phase is Phase.RECOVERING:
        return watch.since_ms + limit.recover_ms
    return None


def elapse(limit: Limit, watch: Watch, at_ms: Instant) -> Watch:
    """Let the timer of ``watch`` end at ``at_ms``, if it is due by then."""
    due = due_ms(limit, watch)
    if due is None or due > at_ms:
        return watch
    ended = Phase.BEYOND if watch.phase is Phase.WAITING else Phase.INSIDE
    return Watch(phase=ended, since_ms=due)


def see(limit: Limit, watch: Watch, at_ms: Instant, value: float | None) -> Watch:
    """Take the value that holds from ``at_ms``; ``None`` means that nobody can say.

    Not knowing stops a running timer and changes nothing else: a wait is not counted over a gap, and an open
    alarm is not closed by one.
    """
    phase = _next_phase(limit, watch.phase, value)
    return watch if phase is watch.phase else Watch(phase=phase, since_ms=at_ms)


def _next_phase(limit: Limit, phase: Phase, value: float | None) -> Phase:
    if value is None:
        return {Phase.WAITING: Phase.INSIDE, Phase.RECOVERING: Phase.BEYOND}.get(phase, phase)
    if phase in {Phase.INSIDE, Phase.WAITING}:
        return Phase.WAITING if limit.is_beyond(value) else Phase.INSIDE
    return Phase.RECOVERING if limit.is_back(value) else Phase.BEYOND
