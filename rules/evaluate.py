"""The fold over one room: readings in order of time measured, limits, timers; events come out.

One moment is handled in this order, whoever asks and however the readings are cut into batches:

1. timers that are due by then fire, at their own moment (a wait that is over *is* over, even if the very next
   reading is back inside);
2. values that no longer hold expire, and limits that change take effect on what is held until then: a wait that
   the new ones find over ends now, never before they held, and what is no longer held back is released;
3. all readings of that moment are taken, and every limit sees the room's value once.

The room's value for a low limit is the lowest that any trusted probe holds, for a high limit the highest: a room
is judged by its farthest-out probe. When no probe holds a value the room "cannot say" (``None``): a wait that
runs stops, an alarm that is open stays open.

A limit whose figures change is judged on by the new ones: its wait goes on while the value is outside the limit
that is in force at each moment. What is held back is judged all the same, so that time outside counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Final

from rules.condition import Limit, Phase, Watch, due_ms, elapse, see
from rules.event import Change, Event
from rules.limits import Key, RoomLimit, RoomLimits
from rules.model import LAST_INSTANT, Instant, ProbeId, Quantity, Reading, Side
from rules.quick import is_quick, remembered
from rules.room_state import Held, RoomState, Track

NEVER_MS: Final[Instant] = LAST_INSTANT


def evaluate(
    state: RoomState,
    *,
    schedule: Sequence[RoomLimits],
    readings: Iterable[Reading],
    until_ms: Instant,
    placed: frozenset[ProbeId] | None = None,
) -> tuple[RoomState, tuple[Event, ...]]:
    """Judge a room from ``state.clock_ms`` (exclusive) to ``until_ms`` (inclusive).

    Args:
        state: the room as judged so far.
        schedule: limits by the moment from which they hold, in order; the first reaches back before the state.
        readings: of this room's probes, any order, duplicates allowed; those at or before the state's clock or
            after ``until_ms`` are not taken.
        until_ms: how far to judge.
        placed: probes that are still in the room; values of others are dropped at once. ``None``: all are.

    Returns:
        The new state and what happened, in order of time.
    """
    if until_ms <= state.clock_ms:
        return state, ()
    fold = _Fold(state, schedule, placed)
    fresh = {(r.at_ms, r.probe, r.quantity): r for r in readings if state.clock_ms < r.at_ms <= until_ms}
    ordered = (fresh[identity] for identity in sorted(fresh))
    for at_ms, group in groupby(ordered, key=lambda r: r.at_ms):
        fold.advance(at_ms, tuple(group))
    fold.advance(until_ms, ())
    return fold.result(until_ms)


def standing(
    state: RoomState, *, schedule: Sequence[RoomLimits], placed: frozenset[ProbeId] | None = None
) -> tuple[Event, ...]:
    """The alarms that are open in ``state``, each as if it were raised at this moment, with the facts of now.

    :attr:`Event.beyond` says whether the limit is passed right now: one that is on its way back is open as well.
    """
    fold = _Fold(state, schedule, placed)
    fold.events.clear()
    for key, track in fold.tracks.items():
        if track.is_told:
            fold.tell(Change.RAISED, key, state.clock_ms, beyond=fold.is_passed(key))
    return tuple(fold.events)


class _Fold:
    """The working memory of one call of :func:`evaluate`."""

    def __init__(
        self, state: RoomState, schedule: Sequence[RoomLimits], placed: frozenset[ProbeId] | None
    ) -> None:
        self.held = {k: h for k, h in state.held.items() if placed is None or k[0] in placed}
        self.tracks = dict(state.tracks)
        self.recent = dict(state.recent)
        self.events: list[Event] = []
        self.now = state.clock_ms
        self.limits = in_force(schedule, state.clock_ms)
        self.coming = [s for s in schedule if s.from_ms > state.clock_ms]
        self.next_ms = min([state.next_ms, *(s.from_ms for s in self.coming[:1])])
        if self.limits.fingerprint != state.fingerprint:
            self._take_over(self.limits)
        elif len(self.held) != len(state.held):
            self._see_all()

    def result(self, until_ms: Instant) -> tuple[RoomState, tuple[Event, ...]]:
        state = RoomState(
            clock_ms=until_ms,
            fingerprint=self.limits.fingerprint,
            held=self.held,
            tracks=self.tracks,
            recent=self.recent,
            next_ms=self.next_ms,
        )
        return state, tuple(self.events)

    def advance(self, at_ms: Instant, readings: Sequence[Reading]) -> None:
        """Handle all moments up to ``at_ms``, and the readings of that one."""
        while self.next_ms < at_ms and (moment := self._next_moment()) < at_ms:
            self._handle(moment, ())
        self._handle(at_ms, readings)

    def _next_moment(self) -> Instant:
        """The next moment at which something happens by itself."""
        moments = [NEVER_MS]
        moments += [h.until_ms for h in self.held.values() if not h.expired]
        moments += [s.from_ms for s in self.coming[:1]]
        moments += [_due_ms(self.limits.limits[key], track) for key, track in self.tracks.items()]
        self.next_ms = min(moments)
        return self.next_ms

    def _handle(self, at_ms: Instant, readings: Sequence[Reading]) -> None:
        self.now = at_ms
        touched: set[Quantity] = set()
        if at_ms >= self.next_ms:
            self._fire(at_ms)
            touched |= self._expire(at_ms)
            while self.coming and self.coming[0].from_ms <= at_ms:
                self._take_over(self.coming.pop(0))
        for reading in readings:
            identity = (reading.probe, reading.quantity)
            before = self.held.get(identity)
            after = (
                Held(value=reading.value, at_ms=at_ms)
                if before is None
                else before.followed_by(reading.value, at_ms)
            )
            self.held[identity] = after
            self.next_ms = min(self.next_ms, after.until_ms)
            touched.add(reading.quantity)
        if touched:
            self._see_all(touched)

    def _expire(self, at_ms: Instant) -> set[Quantity]:
        gone = [key for key, held in self.held.items() if not held.expired and held.until_ms <= at_ms]
        for key in gone:
            self.held[key] = replace(self.held[key], expired=True)
        return {quantity for _, quantity in gone}

    # --- timers -------------------------------------------------------------------------------------------

    def _fire(self, at_ms: Instant) -> None:
        for key, limit in self.limits.limits.items():
            self._fire_far(key, limit, at_ms)
            self._fire_near(key, limit, at_ms)
            if _fast_due_ms(limit, self.tracks[key]) <= at_ms:
                self._raise(key, at_ms)

    def _fire_far(self, key: Key, limit: RoomLimit, at_ms: Instant) -> None:
        track = self.tracks[key]
        if limit.far is None or (far := elapse(limit.far, track.far, at_ms)) is track.far:
            return
        self.tracks[key] = track = replace(track, far=far)
        if far.phase is not Phase.BEYOND or track.deepened:
            return
        self.tracks[key] = replace(track, deepened=True)
        if not track.is_open:
            self._raise(key, at_ms)
        elif not track.held:
            self.tell(Change.DEEPENED, key, at_ms)

    def _fire_near(self, key: Key, limit: RoomLimit, at_ms: Instant) -> None:
        track = self.tracks[key]
        near = elapse(limit.near, track.near, at_ms)
        if near is track.near:
            return
        if near.phase is Phase.BEYOND:
            self._raise(key, at_ms)
        else:
            self._end(key, at_ms)

    def _raise(self, key: Key, at_ms: Instant) -> None:
        beyond = Watch(phase=Phase.BEYOND, since_ms=at_ms)
        self.tracks[key] = replace(self.tracks[key], near=beyond, raised_ms=at_ms, fast_since_ms=None)
        if key not in self.limits.holds:
            self.tell(Change.RAISED, key, at_ms)
        else:
            self._hold_back(key, at_ms)

    def _end(self, key: Key, at_ms: Instant) -> None:
        track = self.tracks[key]
        if not track.held:
            self.tell(Change.CLEARED, key, at_ms, back_ms=track.near.since_ms)
            self.tracks[key] = replace(Track.quiet(at_ms), over_ms=at_ms)
        else:  # what it was is told when it is released
            quiet = Track.quiet(at_ms)
            self.tracks[key] = replace(
                quiet, began_ms=track.began_ms, worst=track.worst, held=True, over_ms=track.over_ms
            )

    # --- values -------------------------------------------------------------------------------------------

    def _see_all(self, touched: set[Quantity] | None = None) -> None:
        extremes: dict[Quantity, tuple[float, float]] = {}
        for (_, quantity), held in self.held.items():
            if not held.expired and (touched is None or quantity in touched):
                value = held.value
                low, high = extremes.get(quantity, (value, value))
                extremes[quantity] = (min(low, value), max(high, value))
        for key, limit in self.limits.limits.items():
            if touched is None or key[0] in touched:
                found = extremes.get(key[0])
                self._see(key, limit, None if found is None else found[key[1] is not Side.LOW])

    def _see(self, key: Key, limit: RoomLimit, value: float | None) -> None:
        track = self.tracks[key]
        if limit.fast is not None and value is not None:
            self.recent[key] = remembered(self.recent.get(key, ()), limit.fast, key[1], self.now, value)
        if value is not None and track.near.phase is Phase.INSIDE and not limit.near.is_beyond(value):
            return
        seen = None if track.is_open and self._is_silent_outside(key, limit.near, value) else value
        near = see(limit.near, track.near, self.now, seen)
        far = track.far if limit.far is None else see(limit.far, track.far, self.now, seen)
        fast_since_ms = self._fast_since(key, limit, track, near, value)
        if near is not track.near or far is not track.far or fast_since_ms != track.fast_since_ms:
            starts = track.near.phase is Phase.INSIDE and near.phase is Phase.WAITING
            track = replace(track, near=near, far=far, fast_since_ms=fast_since_ms)
            if starts:
                track = replace(track, began_ms=self.now, first_value=value, worst=value)
            self.next_ms = min(self.next_ms, _due_ms(limit, track))
        if value is not None and near.phase is not Phase.INSIDE and _is_worse(key[1], track.worst, value):
            track = replace(track, worst=value)
        self.tracks[key] = track

    def _fast_since(
        self, key: Key, limit: RoomLimit, track: Track, near: Watch, value: float | None
    ) -> Instant | None:
        """Since when the value is beyond the limit and has changed quickly; only a wait can be made shorter."""
        if limit.fast is None or value is None or near.phase is not Phase.WAITING:
            return None
        if not is_quick(self.recent[key], limit.fast, key[1], self.now, value):
            return None
        return self.now if track.fast_since_ms is None else track.fast_since_ms

    def _farthest_out(self, key: Key) -> tuple[ProbeId | None, float | None]:
        quantity, side = key
        values = [(h.value, p) for (p, q), h in self.held.items() if q is quantity and not h.expired]
        if not values:
            return None, None
        value, probe = min(values) if side is Side.LOW else max(values)
        return probe, value

    def _is_silent_outside(self, key: Key, limit: Limit, value: float | None) -> bool:
        """A probe fell silent before it was back, and the others read well: nobody can say that it is over."""
        if value is None or not limit.is_back(value):
            return False
        return any(h.expired and not limit.is_back(h.value) for (_, q), h in self.held.items() if q is key[0])

    # --- limits -------------------------------------------------------------------------------------------

    def _take_over(self, to: RoomLimits) -> None:
        """Judge on by the new limits; an alarm whose limit is gone ends, whatever is held back or released is."""
        for key in [k for k in self.tracks if k not in to.limits]:
            track = self.tracks[key]
            if track.held:
                self.tell(Change.RELEASED, key, self.now, beyond=False, judged=False)
            elif track.is_open:
                self.tell(Change.CLEARED, key, self.now, back_ms=self.now, judged=False)
            del self.tracks[key]
            self.recent.pop(key, None)
        self.limits = to
        for key, limit in to.limits.items():
            track = self.tracks.get(key, Track.quiet(self.now))
            self.tracks[key] = track if limit.far is not None else replace(track, far=Track.quiet(self.now).far)
            if limit.fast is None:
                self.recent.pop(key, None)
        self.next_ms = self.now  # waits and holds may be shorter now, and over
        self._see_all()
        self._fire(self.now)
        for key in to.limits:
            self._hold_or_release(key)

    def _hold_or_release(self, key: Key) -> None:
        track = self.tracks[key]
        if key in self.limits.holds:
            if track.is_told:
                self._hold_back(key, self.now)
        elif track.held:
            beyond = track.near.phase is Phase.BEYOND and self.is_passed(key)
            recover_ms = 0 if track.is_open else self.limits.limits[key].near.recover_ms
            back_ms = None if beyond else track.near.since_ms - recover_ms
            self.tell(Change.RELEASED, key, self.now, back_ms=back_ms, beyond=beyond)
            back = track.is_open and not beyond
            self.tracks[key] = replace(Track.quiet(self.now) if back else track, held=False, over_ms=track.over_ms)

    def is_passed(self, key: Key) -> bool:
        """Whether the value is beyond the limit right now, or nobody can say that it is not."""
        _, value = self._farthest_out(key)
        return value is None or self.limits.limits[key].near.is_beyond(value)

    def _hold_back(self, key: Key, at_ms: Instant) -> None:
        """There is something to say and it must wait; said once, however often it comes and goes meanwhile."""
        if not self.tracks[key].held:
            self.tracks[key] = replace(self.tracks[key], held=True)
            self.tell(Change.HELD, key, at_ms)

    # --- what happened ------------------------------------------------------------------------------------

    def tell(
        self,
        change: Change,
        key: Key,
        at_ms: Instant,
        *,
        back_ms: Instant | None = None,
        beyond: bool = True,
        judged: bool = True,
    ) -> None:
        track = self.tracks[key]
        probe, value = self._farthest_out(key)
        values = self._values()
        self.events.append(
            Event(
                change=change,
                quantity=key[0],
                side=key[1],
                at_ms=at_ms,
                began_ms=track.began_ms,
                back_ms=back_ms,
                value=value,
                first_value=track.first_value,
                worst=track.worst,
                probe=probe,
                judged_by=self.limits.limits[key] if judged else None,
                values=values,
                normal=tuple(sorted(q for q in values if q is not key[0] and self._is_normal(q))),
                also_beyond=tuple(
                    k for k, t in self.tracks.items() if k != key and t.near.phase is not Phase.INSIDE
                ),
                deepened=track.deepened,
                beyond=beyond,
                hold=self.limits.holds.get(key) if change is Change.HELD else None,
            )
        )

    def _values(self) -> dict[Quantity, float]:
        newest = sorted((h.at_ms, p, q, h.value) for (p, q), h in self.held.items() if not h.expired)
        return {q: value for _, _, q, value in newest}

    def _is_normal(self, quantity: Quantity) -> bool:
        phases = [t.near.phase for (q, _), t in self.tracks.items() if q is quantity]
        return bool(phases) and all(phase is Phase.INSIDE for phase in phases)


def in_force(schedule: Sequence[RoomLimits], at_ms: Instant) -> RoomLimits:
    """The limits of a schedule that hold at a moment; none before the first of them."""
    nothing = RoomLimits(from_ms=0, limits={})
    return max((s for s in schedule if s.from_ms <= at_ms), key=lambda s: s.from_ms, default=nothing)


def _due_ms(limit: RoomLimit, track: Track) -> Instant:
    """When the first of a limit's timers ends."""
    near = due_ms(limit.near, track.near)
    far = None if limit.far is None else due_ms(limit.far, track.far)
    return min([_fast_due_ms(limit, track), *(due for due in (near, far) if due is not None)])


def _fast_due_ms(limit: RoomLimit, track: Track) -> Instant:
    if limit.fast is None or track.fast_since_ms is None:
        return NEVER_MS
    return track.fast_since_ms + limit.fast.wait_ms


def _is_worse(side: Side, known: float | None, value: float) -> bool:
    return known is None or (value < known if side is Side.LOW else value > known)
