"""Readings that come late leave a room standing where it would stand had they come in time.

The histories are random and invented; what must hold is this project's own rule: what was told stays told, and
only the present is corrected. No outside source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rules.evaluate import evaluate
from rules.event import Change, Event
from rules.hindsight import judge_again, window_from
from rules.limits import Key, RoomLimits
from rules.model import Instant, Reading
from rules.room_state import RoomState
from tests.support.histories import END_MS, histories, schedules
from tests.support.rooms import minute, unjudged
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure


@dataclass(frozen=True, slots=True)
class Lump:
    """Readings in order of time, and which of them come only at the end, all at once."""

    all: tuple[Reading, ...]
    late: tuple[Reading, ...]
    at_ms: Instant


@st.composite
def lumps(draw: st.DrawFn) -> Lump:
    """A night in which one probe's readings over some time, or every probe's, come late."""
    at_ms = minute(draw(st.integers(40, 240)))
    given_readings = draw(histories())
    tidy = {(r.at_ms, r.probe, r.quantity): r for r in given_readings if r.at_ms <= at_ms}
    readings = [tidy[identity] for identity in sorted(tidy)]
    assume(len(readings) > 3)
    first = draw(st.integers(0, len(readings) - 1))
    span = readings[first : first + draw(st.integers(1, 120))]
    of_one = draw(st.booleans())
    late = tuple(r for r in span if not of_one or r.probe == span[0].probe)
    return Lump(tuple(readings), late, at_ms)


def _with_late(lump: Lump, schedule: Sequence[RoomLimits]) -> tuple[RoomState, list[Event]]:
    """Judge without the late ones, judge again with them, and look once more a moment later."""
    in_time = set(lump.all) - set(lump.late)
    state, told = evaluate(unjudged(), schedule=schedule, readings=in_time, until_ms=lump.at_ms)
    from_ms = window_from(state, lump.late[0].at_ms)
    known = [r for r in lump.all if r.at_ms > from_ms]
    state, owed = judge_again(state, from_ms=from_ms, schedule=schedule, readings=known)
    state, after = evaluate(state, schedule=schedule, readings=[], until_ms=lump.at_ms + 1)
    return state, [*told, *owed, *after]


def _tidy(lump: Lump, schedule: Sequence[RoomLimits]) -> RoomState:
    return evaluate(unjudged(), schedule=schedule, readings=lump.all, until_ms=lump.at_ms + 1)[0]


def _told(state: RoomState) -> set[Key]:
    return {key for key, track in state.tracks.items() if track.is_told}


def _passed(state: RoomState) -> set[Key]:
    return {key for key, track in state.tracks.items() if track.is_open}


@settings(STEADY, max_examples=60)
@given(lumps(), schedules())
def test_the_order_in_which_readings_come_does_not_matter_to_where_a_room_stands(
    lump: Lump, schedule: tuple[RoomLimits, ...]
) -> None:
    state, _ = _with_late(lump, schedule)
    tidy = _tidy(lump, schedule)
    assert (_passed(state), _told(state)) == (_passed(tidy), _told(tidy))


@settings(STEADY, max_examples=60)
@given(lumps(), schedules())
def test_what_is_told_late_follows_from_what_was_told_before(lump: Lump, schedule: tuple[RoomLimits, ...]) -> None:
    """Nothing is raised twice, cleared before it was told, or released without having been held back."""
    state, events = _with_late(lump, schedule)
    assert _story(events) == _told(state)
    assert all(event.began_ms <= event.at_ms <= END_MS + 1 for event in events)


def _story(events: Iterable[Event]) -> set[Key]:
    """Which alarms are open at the end, each move checked against where the alarm was."""
    is_open: set[Key] = set()
    held: set[Key] = set()
    for event in events:
        key = event.key
        match event.change:
            case Change.RAISED:
                assert key not in is_open | held
                is_open.add(key)
            case Change.DEEPENED:
                assert key in is_open
            case Change.CLEARED:
                is_open.remove(key)
            case Change.HELD:
                assert key not in held
                is_open.discard(key)
                held.add(key)
            case Change.RELEASED:
                held.remove(key)
                is_open |= {key} if event.beyond else set()
    return is_open
