"""Readings that come late: what would we know now if they had come in time?

What was told stays told. When readings older than the judged part of a room arrive (a gateway that was away, a
probe that sends an hour in one pack), the room is judged again from a little before them, by the limits of that
time, and only the *present* is corrected: an alarm that should be open now is raised at its true moment, one that
should be over is cleared. A stretch that began and ended before we heard of it raises nothing here; the stretch
itself is computed from the readings and stands on the round sheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from rules.condition import Phase, Watch
from rules.evaluate import Change, Event, evaluate
from rules.limits import Key, RoomLimits
from rules.model import HOUR_MS, Instant, ProbeId, Reading
from rules.room_state import RoomState, Track

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
    placed: frozenset[ProbeId] | None = None,
) -> tuple[RoomState, tuple[Event, ...]]:
    """Judge from ``from_ms`` to the state's clock with all readings now known, and correct the present.

    Returns:
        The corrected state (same clock) and the moves that the alarms still have to make.
    """
    start = RoomState(clock_ms=from_ms, fingerprint=state.fingerprint, tracks=_as_known_at(state, from_ms))
    again, events = evaluate(start, schedule=schedule, readings=readings, until_ms=state.clock_ms, placed=placed)
    tracks = {key: _keep_told(state.tracks.get(key), track) for key, track in again.tracks.items()}
    owed = [e for key in again.tracks for e in _owed(key, state.tracks.get(key), again.tracks[key], events)]
    return replace(again, tracks=tracks), tuple(sorted(owed, key=lambda e: e.at_ms))


def _as_known_at(state: RoomState, from_ms: Instant) -> Mapping[Key, Track]:
    """Alarms raised before the window are open in it; everything else starts quiet."""
    beyond = Watch(phase=Phase.BEYOND, since_ms=from_ms)
    quiet = Track.quiet(from_ms)
    return {
        key: replace(track, near=beyond, far=quiet.far)
        if track.raised_ms is not None and track.raised_ms <= from_ms
        else quiet
        for key, track in state.tracks.items()
    }


def _keep_told(before: Track | None, after: Track) -> Track:
    if before is None or not (before.is_open and after.is_open):
        return after
    return replace(after, raised_ms=before.raised_ms, deepened=before.deepened or after.deepened)


def _owed(key: Key, before: Track | None, after: Track, events: Sequence[Event]) -> Iterable[Event]:
    was_open = before is not None and before.is_open
    if after.is_open and not was_open:
        yield from _last(key, Change.RAISED, events)
    if after.is_open and after.deepened and not (before and before.deepened):
        yield from (e for e in _last(key, Change.DEEPENED, events) if was_open or e.at_ms > (after.raised_ms or 0))
    if before is not None and was_open and not after.is_open:
        yield from _last(key, Change.CLEARED, events) or [_never_was(key, before, after.near.since_ms)]


def _last(key: Key, change: Change, events: Sequence[Event]) -> list[Event]:
    return [e for e in events if e.key == key and e.change is change][-1:]


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
