"""The fold over one room: readings in order of time measured, limits, timers; events come out.

One moment is handled in this order, whoever asks and however the readings are cut into batches:

1. timers that are due by then fire, at their own moment (a wait that is over *is* over, even if the very next
   reading is back inside);
2. values that no longer hold expire, limits that change take effect, and all readings of that moment are taken;
3. every limit sees the room's value once.

The room's value for a low limit is the lowest that any trusted probe holds, for a high limit the highest: a room
is judged by its farthest-out probe. When no probe holds a value the room "cannot say" (``None``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import groupby

from rules.condition import Limit, Phase, Watch, due_ms, elapse, see
from rules.limits import Key, RoomLimit, RoomLimits
from rules.model import Instant, ProbeId, Quantity, Reading, Side
from rules.room_state import Held, RoomState, Track


class Change(StrEnum):
    """What became true of a limit."""

    RAISED = "raised"
    DEEPENED = "deepened"
    CLEARED = "cleared"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A limit passed for its whole wait, passed far, or over; with the facts of that moment."""

    change: Change
    quantity: Quantity
    side: Side
    at_ms: Instant
    began_ms: Instant
    """When the value went beyond the limit."""
    back_ms: Instant | None = None
    """When it came back inside by the margin; only for ``CLEARED``."""
    value: float | None
    first_value: float | None
    worst: float | None
    probe: ProbeId | None
    judged_by: RoomLimit | None
    """``None`` when the limit ended because the room's crop or stage changed."""
    values: Mapping[Quantity, float]
    """What the room's other quantities held at that moment (each by its newest probe)."""
    normal: tuple[Quantity, ...]
    """Those of them with a limit that is not passed."""
    also_beyond: tuple[Key, ...]
    """Other limits of the room that are passed, or being waited on."""
    deepened: bool = False
    """The far limit was passed for its whole wait, by then at the latest."""

    @property
    def key(self) -> Key:
        """The alarm this is about."""
        return (self.quantity, self.side)


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
    """The alarms that are open in ``state``, each as if it were raised at this moment, with the facts of now."""
    fold = _Fold(state, schedule, placed)
    for key, track in fold.tracks.items():
        if track.is_open:
            fold.tell(Change.RAISED, key, state.clock_ms)
    return tuple(fold.events)


class _Fold:
    """The working memory of one call of :func:`evaluate`."""

    def __init__(
        self, state: RoomState, schedule: Sequence[RoomLimits], placed: frozenset[ProbeId] | None
    ) -> None:
        self.held = {k: h for k, h in state.held.items() if placed is None or k[0] in placed}
        self.tracks = dict(state.tracks)
        self.events: list[Event] = []
        self.now = state.clock_ms
        self.limits = _in_force(schedule, state.clock_ms)
        self.coming = [s for s in schedule if s.from_ms > state.clock_ms]
        if self.limits.fingerprint != state.fingerprint:
            self._change_limits(self.limits)
        if len(self.held) != len(state.held):
            self._see_all()

    def result(self, until_ms: Instant) -> tuple[RoomState, tuple[Event, ...]]:
        state = RoomState(
            clock_ms=until_ms, fingerprint=self.limits.fingerprint, held=self.held, tracks=self.tracks
        )
        return state, tuple(self.events)

    def advance(self, at_ms: Instant, readings: Sequence[Reading]) -> None:
        """Handle all moments up to ``at_ms``, and the readings of that one."""
        while (moment := self._next_moment(at_ms)) < at_ms:
            self._handle(moment, ())
        self._handle(at_ms, readings)

    def _next_moment(self, at_ms: Instant) -> Instant:
        """The next moment at which something happens by itself, at most ``at_ms``."""
        moments = [at_ms]
        moments += [h.until_ms for h in self.held.values() if not h.expired]
        moments += [s.from_ms for s in self.coming[:1]]
        for key, track in self.tracks.items():
            limit = self.limits.limits[key]
            moments += [due for due in (due_ms(limit.near, track.near), _far_due(limit, track)) if due is not None]
        return min(moments)

    def _handle(self, at_ms: Instant, readings: Sequence[Reading]) -> None:
        self.now = at_ms
        self._fire(at_ms)
        touched = {r.quantity for r in readings}
        for key, held in self.held.items():
            if not held.expired and held.until_ms <= at_ms:
                self.held[key] = replace(held, expired=True)
                touched.add(key[1])
        while self.coming and self.coming[0].from_ms <= at_ms:
            self._take_over(self.coming.pop(0))
        for reading in readings:
            identity = (reading.probe, reading.quantity)
            before = self.held.get(identity)
            self.held[identity] = (
                Held(value=reading.value, at_ms=at_ms)
                if before is None
                else before.followed_by(reading.value, at_ms)
            )
        self._see_all(touched)

    # --- timers -------------------------------------------------------------------------------------------

    def _fire(self, at_ms: Instant) -> None:
        for key in self.tracks:
            limit = self.limits.limits[key]
            self._fire_far(key, limit, at_ms)
            self._fire_near(key, limit, at_ms)

    def _fire_far(self, key: Key, limit: RoomLimit, at_ms: Instant) -> None:
        track = self.tracks[key]
        if limit.far is None or (far := elapse(limit.far, track.far, at_ms)) is track.far:
            return
        self.tracks[key] = track = replace(track, far=far)
        if far.phase is not Phase.BEYOND:
            return
        if not track.is_open:
            near = Watch(phase=Phase.BEYOND, since_ms=far.since_ms)
            self.tracks[key] = replace(track, near=near, raised_ms=far.since_ms, deepened=True)
            self.tell(Change.RAISED, key, far.since_ms)
        elif not track.deepened:
            self.tracks[key] = replace(track, deepened=True)
            self.tell(Change.DEEPENED, key, far.since_ms)

    def _fire_near(self, key: Key, limit: RoomLimit, at_ms: Instant) -> None:
        track = self.tracks[key]
        near = elapse(limit.near, track.near, at_ms)
        if near is track.near:
            return
        if near.phase is Phase.BEYOND:
            self.tracks[key] = replace(track, near=near, raised_ms=near.since_ms)
            self.tell(Change.RAISED, key, near.since_ms)
        else:
            self.tell(Change.CLEARED, key, near.since_ms, back_ms=track.near.since_ms)
            self.tracks[key] = replace(Track.quiet(near.since_ms), over_ms=near.since_ms)

    # --- values -------------------------------------------------------------------------------------------

    def _see_all(self, touched: set[Quantity] | None = None) -> None:
        for key in self.tracks:
            if touched is None or key[0] in touched:
                self._see(key)

    def _see(self, key: Key) -> None:
        track, limit = self.tracks[key], self.limits.limits[key]
        value = self._farthest_out(key)[1]
        seen = None if track.is_open and self._is_silent_outside(key, limit.near, value) else value
        near = see(limit.near, track.near, self.now, seen)
        far = track.far if limit.far is None else see(limit.far, track.far, self.now, seen)
        if near is not track.near or far is not track.far:
            starts = track.near.phase is Phase.INSIDE and near.phase is Phase.WAITING
            track = replace(track, near=near, far=far)
            if starts:
                track = replace(track, began_ms=self.now, first_value=value, worst=value)
        if value is not None and near.phase is not Phase.INSIDE:
            track = replace(track, worst=_worse(key[1], track.worst, value))
        self.tracks[key] = track

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
        """A batch that comes or goes without setting a limit must not restart the waits that run."""
        if to.fingerprint == self.limits.fingerprint:
            self.limits = to
        else:
            self._change_limits(to)

    def _change_limits(self, to: RoomLimits) -> None:
        """Judge afresh by the new limits; an alarm whose limit is gone ends, one that is open stays open."""
        for key in [k for k in self.tracks if k not in to.limits]:
            if self.tracks[key].is_open:
                self.tell(Change.CLEARED, key, self.now, back_ms=self.now, judged=False)
            del self.tracks[key]
        self.limits = to
        for key in to.limits:
            track = self.tracks.get(key)
            quiet = Track.quiet(self.now)
            if track is None:
                self.tracks[key] = quiet
            elif not track.is_open:
                self.tracks[key] = replace(quiet, over_ms=track.over_ms)
            else:
                beyond = Watch(phase=Phase.BEYOND, since_ms=self.now)
                self.tracks[key] = replace(track, near=beyond, far=quiet.far)
        self._see_all()

    # --- what happened ------------------------------------------------------------------------------------

    def tell(
        self,
        change: Change,
        key: Key,
        at_ms: Instant,
        *,
        back_ms: Instant | None = None,
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
            )
        )

    def _values(self) -> dict[Quantity, float]:
        newest = sorted((h.at_ms, p, q, h.value) for (p, q), h in self.held.items() if not h.expired)
        return {q: value for _, _, q, value in newest}

    def _is_normal(self, quantity: Quantity) -> bool:
        phases = [t.near.phase for (q, _), t in self.tracks.items() if q is quantity]
        return bool(phases) and all(phase is Phase.INSIDE for phase in phases)


def _in_force(schedule: Sequence[RoomLimits], at_ms: Instant) -> RoomLimits:
    nothing = RoomLimits(from_ms=0, limits={})
    return max((s for s in schedule if s.from_ms <= at_ms), key=lambda s: s.from_ms, default=nothing)


def _far_due(limit: RoomLimit, track: Track) -> Instant | None:
    return None if limit.far is None else due_ms(limit.far, track.far)


def _worse(side: Side, a: float | None, b: float) -> float:
    known = b if a is None else a
    return min(known, b) if side is Side.LOW else max(known, b)
