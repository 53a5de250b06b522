"""Readings that come late: what would we know now if they had come in time?

What was told stays told. When readings older than the judged part of a room arrive (a gateway that was away, a
probe that sends an hour in one pack), the room is judged again from a little before them, by the limits of that
time, and only the *present* is corrected: an alarm that should be open now is raised at its true moment, one that
should be over is cleared. A stretch that began and ended before we heard of it raises nothing here; the stretch
itself is computed from the readings and stands on the round sheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from rules.condition import Phase, Watch
from rules.evaluate import in_force
from rules.event import Change, Event
from rules.hanging import Hung, evaluate_where_hung
from rules.limits import Key, RoomLimits
from rules.model import HOUR_MS, Instant, ProbeId, Quantity, Reading
from rules.room_state import Held, RoomState, Track

REACH_MS = 6 * HOUR_MS
"""How far back a room is judged again at most. Older readings change history, not the present."""


def window_from(state: RoomState, earliest_late_ms: Instant) -> Instant:
    """Where to begin judging again: an hour before the late readings, within reach.

    The hour lets waits, holds and usual intervals settle before the first late reading.
    """
    return max(earliest_late_ms - HOUR_MS, state.clock_ms - REACH_MS, 0)


def judge_again(
    state: RoomState,
    *,
    from_ms: Instant,
    schedule: Sequence[RoomLimits],
    readings: Iterable[Reading],
    hung: Sequence[Hung] | None = None,
) -> tuple[RoomState, tuple[Event, ...]]:
    """Judge from ``from_ms`` to the state's clock with all readings now known, and correct the present.

    Args:
        state: the room as judged so far.
        from_ms: where to begin, see :func:`window_from`.
        schedule: as for :func:`rules.hanging.evaluate_where_hung`; it reaches back to ``from_ms``.
        readings: of the room's probes while they hung in it, any order.
        hung: where they hung.

    Returns:
        The corrected state (same clock) and the moves that the alarms still have to make.
    """
    start = _as_known_at(state, from_ms, in_force(schedule, from_ms))
    again, events = evaluate_where_hung(
        start, schedule=schedule, readings=readings, until_ms=state.clock_ms, hung=hung
    )
    owed = [
        event
        for key in {**state.tracks, **again.tracks}
        for event in _owed(key, state, again, [e for e in events if e.key == key])
    ]
    tracks = {
        key: _keep_told(state.tracks.get(key), track, [e for e in owed if e.key == key])
        for key, track in again.tracks.items()
    }
    # Without a fingerprint the next judgement looks afresh at what is held back now, and releases or holds it.
    return replace(again, tracks=tracks, fingerprint=""), tuple(sorted(owed, key=lambda e: e.at_ms))


def _silent_since(state: RoomState, from_ms: Instant) -> dict[tuple[ProbeId, Quantity], Held]:
    """What probes said last that were not heard since the window began."""
    return {
        key: replace(held, expired=held.until_ms <= from_ms)
        for key, held in state.held.items()
        if held.at_ms <= from_ms
    }


def _as_known_at(state: RoomState, from_ms: Instant, then: RoomLimits) -> RoomState:
    """The room as it stood where judging begins again, as far as that is still known."""
    tracks = {
        key: _track_at(state.tracks.get(key, Track.quiet(from_ms)), from_ms, is_held=key in then.holds)
        for key in then.limits
    }
    held = _silent_since(state, from_ms)
    return RoomState(clock_ms=from_ms, fingerprint=then.fingerprint, held=held, tracks=tracks)


def _track_at(track: Track, from_ms: Instant, *, is_held: bool) -> Track:
    """An alarm raised before the window is open in it, a wait begun before it runs on; all else starts quiet.

    Waits may be longer than the hour before the first late reading: begun anew, they would not be over in time.
    """
    quiet = Track.quiet(from_ms)
    anew = replace(track, far=quiet.far, fast_since_ms=None, held=False)
    if track.raised_ms is not None and track.raised_ms <= from_ms:
        return replace(anew, near=Watch(phase=Phase.BEYOND, since_ms=from_ms), held=is_held)
    if track.began_ms <= from_ms and (track.is_open or track.near.phase is Phase.WAITING):
        waiting = Watch(phase=Phase.WAITING, since_ms=track.began_ms)
        return replace(anew, near=waiting, raised_ms=None, deepened=False)
    return quiet


def _keep_told(before: Track | None, after: Track, owed: Sequence[Event]) -> Track:
    """What the moves told so far, and those owed now, leave behind."""
    if before is None:
        return after
    if before.held:
        return replace(after, held=True, over_ms=before.over_ms)
    if before.is_open and after.is_open:
        deepened = before.deepened or (after.deepened and not after.held)
        return replace(after, raised_ms=before.raised_ms, deepened=deepened, held=False)
    if before.is_open:
        return replace(after, over_ms=owed[-1].at_ms, held=False)
    if after.is_told:
        return replace(after, raised_ms=owed[0].at_ms, over_ms=before.over_ms)
    return replace(after, over_ms=before.over_ms)


def _owed(key: Key, state: RoomState, again: RoomState, events: Sequence[Event]) -> Iterable[Event]:
    """The moves that take the alarm from where it was told to be to where it should be.

    What was held back already owes nothing: it is released, or not, when the holding back ends; or here, where its
    limit is gone.
    """
    before, after = state.tracks.get(key), again.tracks.get(key)
    told_ms = before.over_ms if before else None
    if before is not None and before.held:
        if after is None:
            yield replace(
                _never_was(key, before, state.clock_ms), change=Change.RELEASED, back_ms=None, beyond=False
            )
        return
    if before is not None and before.is_open:
        if after is None or not after.is_open:
            yield _over(key, before, state.clock_ms if after is None else after.near.since_ms, events)
        elif after.deepened and not before.deepened and not after.held:
            yield _deeper(before, events)
    elif after is not None and after.held:
        yield _not_before(told_ms, [e for e in events if e.change is Change.HELD][-1])
    elif after is not None and after.is_open:
        yield from (_not_before(told_ms, e) for e in _raised(after, events))


def _raised(after: Track, events: Sequence[Event]) -> Iterable[Event]:
    """How an alarm that should be open came to be: raised, or still true when it was no longer held back."""
    since = [e for e in events if e.change is not Change.CLEARED and e.at_ms >= (after.raised_ms or 0)]
    released = [i for i, e in enumerate(since) if e.change is Change.RELEASED]
    if not released:
        return since
    return [replace(since[released[-1]], change=Change.RAISED), *since[released[-1] + 1 :]]


def _over(key: Key, before: Track, at_ms: Instant, events: Sequence[Event]) -> Event:
    """The end of an alarm; never before the moment at which it was told to have begun."""
    ended = [e for e in events if e.change is Change.CLEARED]
    if not ended:
        return _never_was(key, before, at_ms)
    return _not_before(before.raised_ms, ended[-1])


def _deeper(before: Track, events: Sequence[Event]) -> Event:
    """The far limit passed in an alarm that is told already.

    Its last move is the one that passed it: where the far limit ended its wait first, that was the raising itself.
    """
    return _not_before(before.raised_ms, replace(events[-1], change=Change.DEEPENED))


def _not_before(told_ms: Instant | None, event: Event) -> Event:
    """What is told follows what was told: two moves of one alarm never stand in the wrong order."""
    return replace(event, at_ms=max(event.at_ms, told_ms or 0))


def _never_was(key: Key, before: Track, at_ms: Instant) -> Event:
    """The end of an alarm that, with all readings known, would not have been raised."""
    return Event(
        change=Change.CLEARED,
        quantity=key[0],
        side=key[1],
        at_ms=max(at_ms, before.raised_ms or 0),
        began_ms=before.began_ms,
        back_ms=max(at_ms, before.began_ms),
        value=None,
        first_value=before.first_value,
        worst=before.worst,
        probe=None,
        judged_by=None,
        values={},
        normal=(),
        also_beyond=(),
    )
