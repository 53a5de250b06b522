"""The fold of :mod:`rules.evaluate` over arrays of history, without touching each reading.

A room is inside its limits most of the time, and while it is not, most readings say what the one before them said.
So history is gone through in leaps: numpy finds the next moment at which *anything* could change (a value on the
other side of a limit or of its recover margin, a timer that ends, a probe that falls silent, a change of the
schedule), what is held just before that moment is worked out from the last few readings, and the moment itself is
handed to :func:`rules.evaluate.evaluate`. Nothing is decided here, so nothing can be decided otherwise: a leap
ends where it is in doubt.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import groupby, pairwise
from typing import Final, cast

import numpy as np

from rules.condition import Limit, Phase, Watch, due_ms, see
from rules.evaluate import evaluate
from rules.event import Event
from rules.history import Blocks, History, Line, Says, Values, in_order
from rules.limits import Key, RoomLimit, RoomLimits
from rules.model import HOUR_MS, MINUTE_MS, Instant, ProbeId, Quantity, Reading, Side
from rules.profile import Fast
from rules.quick_history import farthest_out, first_quick_ms, reaches_back_to, remembered_over
from rules.room_state import Held, Recent, RoomState, Track

LOOK_MS: Final = HOUR_MS
"""How far ahead is looked while a limit is passed."""
CLOSE_MS: Final = MINUTE_MS
"""Leaps shorter than this cost more than taking the readings one by one: then some are."""


def replay(
    history: Iterable[History],
    *,
    schedule: Sequence[RoomLimits],
    until_ms: Instant,
    state: RoomState | None = None,
    placed: frozenset[ProbeId] | None = None,
) -> tuple[RoomState, tuple[Event, ...]]:
    """Judge a room over its history; the same as :func:`rules.evaluate.evaluate` of the same readings.

    Args:
        history: of this room's probes; a probe and quantity may come in several pieces.
        schedule: limits by the moment from which they hold, in order, each moment once.
        until_ms: how far to judge.
        state: the room as judged before; ``None``: from the beginning of time.
        placed: as for ``evaluate``.

    Returns:
        The state and what happened, in order of time. Of the state, only since when a limit is quiet may differ.

    Raises:
        ValueError: a value that is not finite, or a moment outside the years 1970 to 9999.
    """
    begin = RoomState(clock_ms=-1) if state is None else state
    if until_ms <= begin.clock_ms:
        return begin, ()
    held = {key: one for key, one in begin.held.items() if placed is None or key[0] in placed}
    lines = _lines(history, replace(begin, held=held), until_ms)
    past = _Past(begin, lines, _from_the_beginning(schedule), until_ms)
    return past.run(placed)


def _lines(history: Iterable[History], state: RoomState, until_ms: Instant) -> list[Line]:
    found: list[Line] = []
    pieces = sorted(history, key=_whose)
    for (probe, quantity), group in groupby(pieces, key=_whose):
        at_ms, value = in_order(list(group), after_ms=state.clock_ms, until_ms=until_ms)
        found.append(Line(probe, quantity, at_ms, value, state.held.get((probe, quantity))))
    known = {line.key for line in found}
    nothing = np.array([], dtype=np.int64), np.array([], dtype=np.float64)
    return [*found, *(Line(*key, *nothing, held) for key, held in state.held.items() if key not in known)]


def _whose(history: History) -> tuple[ProbeId, Quantity]:
    return (history.probe, history.quantity)


def _from_the_beginning(schedule: Sequence[RoomLimits]) -> list[RoomLimits]:
    """The schedule with its beginning: until its first limits there are none."""
    return [RoomLimits(from_ms=-1, limits={}), *schedule]


class _Past:
    """One room's history and how far it is gone through."""

    def __init__(self, state: RoomState, lines: list[Line], schedule: list[RoomLimits], until_ms: Instant) -> None:
        self.state = state
        self.lines = lines
        self.schedule = schedule
        self.until_ms = until_ms
        self.starts = [limits.from_ms for limits in schedule]
        self.events: list[Event] = []
        starts = np.array(self.starts, dtype=np.int64)
        edges = {q: _edges(schedule, q) for q in {line.quantity for line in lines}}
        self.blocks = [Blocks(line, starts, *edges[line.quantity]) for line in lines]
        self.turns = self._turning_points(edges)

    def run(self, placed: frozenset[ProbeId] | None) -> tuple[RoomState, tuple[Event, ...]]:
        """Go through all of it."""
        stride_ms = 0
        self._fold(self._next_reading_ms(), placed)
        while (clock_ms := self.state.clock_ms) < self.until_ms:
            if self._can_leap():
                change_ms = self._next_change_ms()
                if change_ms - 1 > clock_ms:
                    self._leap(change_ms - 1)
            else:
                change_ms = self._next_reading_ms()
            stride_ms = 0 if change_ms - clock_ms > CLOSE_MS else min(max(2 * stride_ms, CLOSE_MS), LOOK_MS)
            self._fold(min(change_ms + stride_ms, self.until_ms))
        return self.state, tuple(self.events)

    # --- taking readings one by one ----------------------------------------------------------------------------

    def _fold(self, to_ms: Instant, placed: frozenset[ProbeId] | None = None) -> None:
        readings: list[Reading] = []
        for line in self.lines:
            end = line.count_until(to_ms)
            readings += line.readings(line.index, end)
            line.index = end
        schedule = self.schedule[self._in_force(self.state.clock_ms) : bisect_right(self.starts, to_ms)]
        self.state, events = evaluate(
            self.state, schedule=schedule, readings=readings, until_ms=to_ms, placed=placed
        )
        for line in self.lines:
            line.held = self.state.held.get(line.key)
        self.events += events

    def _in_force(self, at_ms: Instant) -> int:
        return max(bisect_right(self.starts, at_ms) - 1, 0)

    def _next_reading_ms(self) -> Instant:
        coming = [int(line.at_ms[line.index]) for line in self.lines if line.index < line.size]
        return min([self.until_ms, *coming])

    # --- where something changes -------------------------------------------------------------------------------

    def _can_leap(self) -> bool:
        """Whether it can be known what changes something: not while any next value may be a quick change."""
        limits = self.schedule[self._in_force(self.state.clock_ms)].limits
        return all(self._is_settled(key, limit, self.state.tracks[key]) for key, limit in limits.items())

    def _next_change_ms(self) -> Instant:
        """The next moment at which more may change than what is held."""
        if all(_is_quiet(track) for track in self.state.tracks.values()):
            return self._next_beyond_ms()
        return self._next_difference_ms(self.schedule[self._in_force(self.state.clock_ms)].limits)

    def _next_beyond_ms(self) -> Instant:
        """The end of a quiet time: a value beyond a limit, or a turning point of the schedule."""
        moments = [blocks.first_beyond(line) for blocks, line in zip(self.blocks, self.lines, strict=True)]
        turn = bisect_right(self.turns, self.state.clock_ms)
        return min([self.until_ms, *self.turns[turn : turn + 1], *(m for m in moments if m is not None)])

    def _next_difference_ms(self, limits: Mapping[Key, RoomLimit]) -> Instant:
        """The next moment at which a room that is not quiet moves."""
        tracks = self.state.tracks
        bounds = [self.until_ms, self.state.clock_ms + LOOK_MS]
        bounds += self.starts[bisect_right(self.starts, self.state.clock_ms) :][:1]
        for key, limit in limits.items():
            bounds += [due for due in _dues(limit, tracks[key]) if due is not None]
        found = min(bounds)
        loud = {key[0] for key, track in tracks.items() if not _is_quiet(track)}
        for line in self.lines:
            moment = self._difference_in(line, limits, found, loud=line.quantity in loud)
            found = found if moment is None else min(found, moment)
        for key, limit in limits.items():
            if limit.fast is not None and tracks[key].near.phase is Phase.WAITING:
                recent, lines = self.state.recent.get(key, ()), self._lines_of(key[0])
                moment = first_quick_ms(lines, recent, limit.fast, key[1], found)
                found = found if moment is None else moment
        return found

    def _lines_of(self, quantity: Quantity) -> list[Line]:
        return [line for line in self.lines if line.quantity is quantity]

    def _difference_in(
        self, line: Line, limits: Mapping[Key, RoomLimit], until_ms: Instant, *, loud: bool
    ) -> Instant | None:
        end = line.count_until(until_ms)
        if not loud:
            return line.first_beyond(line.index, end, *_edges_of(limits, line.quantity))
        here = [key for key in limits if key[0] is line.quantity]
        says = [ask for key in here for ask in _asked(limits[key], self.state.tracks[key])]
        return line.first_change(end, until_ms, says)

    def _turning_points(self, edges: Mapping[Quantity, tuple[Values, Values]]) -> list[Instant]:
        """Changes of the schedule that may end a quiet time: limits come or go, or what is held is beyond them."""
        turns = np.array([True, *(_differs(before, after) for before, after in pairwise(self.schedule))])
        for line, blocks in zip(self.lines, self.blocks, strict=True):
            low, high = edges[line.quantity]
            turns |= (blocks.before < low) | (blocks.before > high)
        return [start for start, turn in zip(self.starts, turns.tolist(), strict=True) if turn]

    def _is_settled(self, key: Key, limit: RoomLimit, track: Track) -> bool:
        if track.fast_since_ms is not None:
            return False
        held = [line.held for line in self.lines if line.quantity is key[0] and line.held is not None]
        value = _farthest(key[1], [one.value for one in held if not one.expired])
        if track.near.phase is Phase.INSIDE and value is not None:
            return not limit.near.is_beyond(value)
        silent = any(one.expired and not limit.near.is_back(one.value) for one in held)
        seen = None if track.is_open and silent and value is not None and limit.near.is_back(value) else value
        watches = [(limit.near, track.near), *([] if limit.far is None else [(limit.far, track.far)])]
        still = all(see(one, watch, self.state.clock_ms, seen) is watch for one, watch in watches)
        return still and _farthest(key[1], [value, track.worst]) == track.worst

    # --- leaping -----------------------------------------------------------------------------------------------

    def _leap(self, to_ms: Instant) -> None:
        """Let what is held, the worst values and what is remembered be as if all readings had been taken."""
        limits = self.schedule[self._in_force(to_ms)]
        ends = [line.count_until(to_ms) for line in self.lines]
        recent = {
            key: self._recent(key, limit.fast, to_ms)
            for key, limit in limits.limits.items()
            if limit.fast is not None
        }
        tracks = {key: self._with_worst(key, track, ends) for key, track in self.state.tracks.items()}
        held = self._held_in(self.lines, ends, to_ms)
        for line, end in zip(self.lines, ends, strict=True):
            line.index, line.held = end, held.get(line.key)
        self.state = RoomState(
            clock_ms=to_ms,
            fingerprint=limits.fingerprint,
            held=held,
            tracks=tracks,
            recent={key: one for key, one in recent.items() if one},
            next_ms=to_ms,
        )

    def _with_worst(self, key: Key, track: Track, ends: Sequence[int]) -> Track:
        if track.near.phase is Phase.INSIDE:
            return track
        runs = [
            line.value[line.index : end]
            for line, end in zip(self.lines, ends, strict=True)
            if line.quantity is key[0] and line.index < end
        ]
        extremes = [float(run.min() if key[1] is Side.LOW else run.max()) for run in runs]
        worst = _farthest(key[1], [*extremes, track.worst])
        return track if worst == track.worst else replace(track, worst=worst)

    def _recent(self, key: Key, fast: Fast, to_ms: Instant) -> Recent:
        """What a limit that looks for quick changes remembers at a moment: its last minutes are gone through."""
        begin = self._before_what_is_remembered(key, fast, to_ms)
        lines = self._lines_of(key[0])
        spans = [(line.count_until(begin.clock_ms), line.count_until(to_ms)) for line in lines]
        if self._is_plain(lines, spans, begin, to_ms):
            span = farthest_out(lines, spans, key[1])
            return remembered_over(begin.recent.get(key, ()), fast, key[1], *span)
        readings = [one for line, span in zip(lines, spans, strict=True) for one in line.readings(*span)]
        schedule = self.schedule[self._in_force(begin.clock_ms) : bisect_right(self.starts, to_ms)]
        return evaluate(begin, schedule=schedule, readings=readings, until_ms=to_ms)[0].recent.get(key, ())

    def _is_plain(
        self, lines: Sequence[Line], spans: Sequence[tuple[int, int]], begin: RoomState, to_ms: Instant
    ) -> bool:
        """Whether there are probes, all of them speak throughout, and the limits do not change."""
        if not lines or bisect_right(self.starts, begin.clock_ms) != bisect_right(self.starts, to_ms):
            return False
        held = [begin.held.get(line.key) for line in lines]
        return all(
            one is not None and not one.expired and line.first_silence(one, *span, to_ms) is None
            for line, span, one in zip(lines, spans, held, strict=True)
        )

    def _before_what_is_remembered(self, key: Key, fast: Fast, to_ms: Instant) -> RoomState:
        """The room, of this quantity alone, before the last minutes; or as it is, if that is not so long ago."""
        lines = self._lines_of(key[0])
        newest = [int(line.at_ms[end - 1]) for line in lines if (end := line.count_until(to_ms)) > line.index]
        from_ms = reaches_back_to(fast, max(newest, default=0))
        if from_ms <= self.state.clock_ms:
            held = {where: one for where, one in self.state.held.items() if where[1] is key[0]}
            return replace(self.state, held=held)
        held = self._held_in(lines, [line.count_until(from_ms) for line in lines], from_ms)
        fingerprint = self.schedule[self._in_force(from_ms)].fingerprint
        return RoomState(clock_ms=from_ms, fingerprint=fingerprint, held=held, tracks=self.state.tracks)

    @staticmethod
    def _held_in(
        lines: Sequence[Line], ends: Sequence[int], at_ms: Instant
    ) -> dict[tuple[ProbeId, Quantity], Held]:
        found = {line.key: line.after_at(end, at_ms) for line, end in zip(lines, ends, strict=True)}
        return {key: held for key, held in found.items() if held is not None}


def _is_quiet(track: Track) -> bool:
    inside = track.near.phase is Phase.INSIDE and track.far.phase is Phase.INSIDE
    return inside and not track.is_open and not track.held


def _dues(limit: RoomLimit, track: Track) -> tuple[Instant | None, Instant | None]:
    return due_ms(limit.near, track.near), None if limit.far is None else due_ms(limit.far, track.far)


def _asked(limit: RoomLimit, track: Track) -> Iterable[Says]:
    """What decides whether a limit moves: is a value beyond it, or, once it was passed, back by the margin."""
    yield _question(limit.near, track.near)
    if limit.far is not None and track.near.phase is not Phase.INSIDE:
        yield _question(limit.far, track.far)


def _question(limit: Limit, watch: Watch) -> Says:
    # The limit's own comparisons, of many values at once.
    ask = limit.is_beyond if watch.phase in {Phase.INSIDE, Phase.WAITING} else limit.is_back
    return cast("Says", ask)


def _farthest(side: Side, values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return (min if side is Side.LOW else max)(known, default=None)


def _edges_of(limits: Mapping[Key, RoomLimit], quantity: Quantity) -> tuple[float, float]:
    """Below and above which a value is beyond a limit of its quantity."""
    low, high = limits.get((quantity, Side.LOW)), limits.get((quantity, Side.HIGH))
    return -math.inf if low is None else low.near.limit, math.inf if high is None else high.near.limit


def _edges(schedule: Sequence[RoomLimits], quantity: Quantity) -> tuple[Values, Values]:
    both = np.array([_edges_of(limits.limits, quantity) for limits in schedule])
    return both[:, 0], both[:, 1]


def _differs(one: RoomLimits, other: RoomLimits) -> bool:
    """Whether the one judges something that the other does not, or remembers something else for it."""
    return {key: limit.fast for key, limit in one.limits.items()} != {
        key: limit.fast for key, limit in other.limits.items()
    }
