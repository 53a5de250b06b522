"""One probe's history as arrays: what it held at any moment, and where it next says something that matters.

Readings are kept as two arrays, so that a quarter of a year is looked through without touching each of them.
Nothing here judges; :mod:`rules.replay` does, with the fold of :mod:`rules.evaluate`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from rules.model import FIRST_INSTANT, LAST_INSTANT, Instant, ProbeId, Quantity, Reading
from rules.room_state import GAPS_KEPT, HOLD_INTERVALS, LONGEST_HOLD_MS, SHORTEST_INTERVAL_MS, Held

Moments: TypeAlias = NDArray[np.int64]
Values: TypeAlias = NDArray[np.float64]
Says: TypeAlias = Callable[[Values], NDArray[np.bool_]]
"""Something that is true or false of a value, asked of many at once."""

BLOCK: Final = 2048
"""Readings whose lowest and highest are noted together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What one probe measured of one quantity, in any order.

    Shapes: ``at_ms`` and ``value`` are one-dimensional and equally long. Where a moment occurs twice, the later
    entry counts, as in :func:`rules.evaluate.evaluate`.
    """

    probe: ProbeId
    quantity: Quantity
    at_ms: Moments
    """Moments as UTC milliseconds, int64."""
    value: Values
    """In the quantity's unit, float64."""

    def __post_init__(self) -> None:
        """Refuse arrays that do not belong together.

        Raises:
            ValueError: the arrays differ in shape or are not one-dimensional.
        """
        if self.at_ms.ndim != 1 or self.at_ms.shape != self.value.shape:
            raise ValueError(f"history of {self.probe}/{self.quantity}: moments and values do not belong together")


def in_order(history: Sequence[History], *, after_ms: Instant, until_ms: Instant) -> tuple[Moments, Values]:
    """The readings of one probe and quantity from ``after_ms`` (exclusive) to ``until_ms`` (inclusive), in order.

    Raises:
        ValueError: a value is not finite, or a moment lies outside the years 1970 to 9999.
    """
    at_ms = np.concatenate([h.at_ms for h in history]) if len(history) > 1 else history[0].at_ms
    value = np.concatenate([h.value for h in history]) if len(history) > 1 else history[0].value
    if not bool((at_ms[1:] > at_ms[:-1]).all()):
        order = np.argsort(at_ms, kind="stable")
        at_ms, value = at_ms[order], value[order]
        newest = np.append(at_ms[1:] != at_ms[:-1], [True])
        at_ms, value = at_ms[newest], value[newest]
    if at_ms.size and not FIRST_INSTANT <= at_ms[0] <= at_ms[-1] <= LAST_INSTANT:
        raise ValueError(f"history of {history[0].probe}/{history[0].quantity} has a time outside 1970 to 9999")
    first, end = np.searchsorted(at_ms, [after_ms, until_ms], side="right")
    return at_ms[first:end], value[first:end]


class Line:
    """The readings of one probe and quantity in order, and a place in them.

    ``index`` counts the readings that are taken already, ``held`` is what they left to be held.
    """

    def __init__(
        self, probe: ProbeId, quantity: Quantity, at_ms: Moments, value: Values, seed: Held | None
    ) -> None:
        self.probe = probe
        self.quantity = quantity
        self.at_ms = at_ms
        self.value = value
        self.seed = seed
        self.held = seed
        self.index = 0
        self.size = int(at_ms.size)

    def count_until(self, at_ms: Instant) -> int:
        """How many readings there are up to a moment, inclusive."""
        return int(self.at_ms.searchsorted(at_ms, side="right"))

    def value_at(self, at_ms: Moments) -> Values:
        """The newest value at each of these moments; what was held at first, before the first reading."""
        seed = np.nan if self.seed is None else self.seed.value
        return np.append(self.value, seed)[self.at_ms.searchsorted(at_ms, side="right") - 1]

    def readings(self, begin: int, end: int) -> list[Reading]:
        """The readings from ``begin`` to ``end``, exclusive."""
        times, values = self.at_ms[begin:end].tolist(), self.value[begin:end].tolist()
        return [
            Reading(probe=self.probe, quantity=self.quantity, at_ms=at, value=value)
            for at, value in zip(times, values, strict=True)
        ]

    @property
    def key(self) -> tuple[ProbeId, Quantity]:
        """What this is the history of."""
        return (self.probe, self.quantity)

    def after(self, count: int) -> Held | None:
        """What is held after the first ``count`` readings, exactly as taking them one by one leaves it."""
        if count == 0:
            return self.seed
        at_ms, value = int(self.at_ms[count - 1]), float(self.value[count - 1])
        return Held(value=value, at_ms=at_ms, gaps_ms=self._gaps(count))

    def after_at(self, count: int, at_ms: Instant) -> Held | None:
        """The same as it stands at a moment: it may speak for the room no longer."""
        held = self.after(count)
        return held if held is None or held.until_ms > at_ms else replace(held, expired=True)

    def _gaps(self, count: int) -> tuple[int, ...]:
        """The last gaps before reading ``count - 1``; looks back no further than it must."""
        back = GAPS_KEPT + 1
        while True:
            start = max(count - back, 0)
            times: list[int] = self.at_ms[start:count].tolist()
            before: tuple[int, ...] = ()
            if start == 0 and self.seed is not None:
                before, times = self.seed.gaps_ms, [self.seed.at_ms, *times]
            gaps = [b - a for a, b in pairwise(times) if b - a >= SHORTEST_INTERVAL_MS]
            if start == 0 or len(gaps) >= GAPS_KEPT:
                return (*before, *gaps)[-GAPS_KEPT:]
            back *= 4

    # --- where something changes -------------------------------------------------------------------------------

    def first_beyond(self, begin: int, end: int, low: float, high: float) -> Instant | None:
        """The moment of the first reading from ``begin`` to ``end`` that is under ``low`` or over ``high``."""
        values = self.value[begin:end]
        found = np.flatnonzero((values < low) | (values > high))
        return int(self.at_ms[begin + found[0]]) if found.size else None

    def first_change(self, end: int, until_ms: Instant, says: Sequence[Says]) -> Instant | None:
        """The first moment up to ``until_ms`` at which this probe says something else, or nothing.

        Args:
            end: how many readings there are up to ``until_ms``.
            until_ms: how far to look.
            says: what is asked of a value; a reading of which all is as true as of the held one changes nothing.
        """
        held = self.held
        if held is None or held.expired:
            return int(self.at_ms[self.index]) if self.index < end else None
        moments = [self._first_difference(held, end, says), self.first_silence(held, self.index, end, until_ms)]
        return min((moment for moment in moments if moment is not None), default=None)

    def _first_difference(self, held: Held, end: int, says: Sequence[Says]) -> Instant | None:
        values = self.value[self.index : end]
        differs = np.zeros(values.size, dtype=np.bool_)
        of_held = np.array([held.value])
        for ask in says:
            differs |= ask(values) != ask(of_held)
        found = np.flatnonzero(differs)
        return int(self.at_ms[self.index + found[0]]) if found.size else None

    def first_silence(self, held: Held, begin: int, end: int, until_ms: Instant) -> Instant | None:
        """When what is held before reading ``begin``, or one from there on, first speaks no longer."""
        times = np.append(held.at_ms, self.at_ms[begin:end])
        gaps = times[1:] - times[:-1]
        kept = gaps[gaps >= SHORTEST_INTERVAL_MS]
        shortest = min([LONGEST_HOLD_MS // HOLD_INTERVALS, *held.gaps_ms, *([kept.min()] if kept.size else [])])
        for late in np.flatnonzero(gaps >= HOLD_INTERVALS * shortest):
            before = held if late == 0 else self.after(begin + int(late))
            if before is not None and before.until_ms <= times[late + 1]:
                return before.until_ms
        last = held if begin == end else self.after(end)
        return last.until_ms if last is not None and last.until_ms <= until_ms else None


class Blocks:
    """The lowest and highest value of each short run of a line, so that most of a quarter is passed over at once.

    A run never reaches across a change of the schedule: one pair of edges holds for all of it.
    """

    def __init__(self, line: Line, starts: Moments, low: Values, high: Values) -> None:
        """Args: ``starts``: from when each of the schedule's limits holds; ``low`` and ``high``: their edges."""
        steps = line.at_ms.searchsorted(starts, side="left")
        steps[0] = 0
        bounds = np.union1d(steps[steps < line.size], np.arange(0, line.size, BLOCK))
        part = steps.searchsorted(bounds, side="right") - 1
        self.low, self.high = low[part], high[part]
        lowest = np.minimum.reduceat(line.value, bounds) if line.size else line.value
        highest = np.maximum.reduceat(line.value, bounds) if line.size else line.value
        if not bool(np.isfinite(lowest).all() and np.isfinite(highest).all()):
            raise ValueError(f"history of {line.probe}/{line.quantity} has a value that is not a finite number")
        hot = np.flatnonzero((lowest < self.low) | (highest > self.high))
        self.begins, self.ends = bounds[hot], np.append(bounds, line.size)[hot + 1]
        self.low, self.high = self.low[hot], self.high[hot]
        self.before = line.value_at(starts - 1)

    def first_beyond(self, line: Line) -> Instant | None:
        """The moment of the line's next reading that is beyond the edges of its time."""
        for n in range(int(self.ends.searchsorted(line.index, side="right")), self.ends.size):
            begin = max(line.index, int(self.begins[n]))
            found = line.first_beyond(begin, int(self.ends[n]), float(self.low[n]), float(self.high[n]))
            if found is not None:
                return found
        return None
