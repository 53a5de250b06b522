"""What holds of every night, whatever the readings, the crops, the limits and the people do.

The histories are random and invented. What must hold comes from this project's own rules, except the meaning of
wait, margin and recover time (OPC 10000-9 (UA Part 9), B.1.5 and 5.8: a limit is passed only when the value was
beyond it for the whole wait, and over only when it was back for the whole recover time) and the life cycle of an
alarm, which is the table in :mod:`rules.alarm`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.alarm import OPEN, Happens, State, move, when_beyond
from rules.condition import Phase, Watch
from rules.evaluate import evaluate, in_force
from rules.event import Change, Event
from rules.limits import Hold, Key, RoomLimits, Why
from rules.model import MINUTE_MS, Instant, Reading
from rules.room_state import RoomState, Track, from_plain, to_plain
from tests.support.histories import END_MS, LENGTH_MINUTES, SLOW, histories, schedules
from tests.support.rooms import DOOR_PROBE, HUMIDITY_LOW, limits, minute, unjudged
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

HELD_BACK = {State.SHELVED: Happens.UNSHELVED, State.SUPPRESSED: Happens.UNSUPPRESSED}
SPEAKING = {Change.RAISED, Change.DEEPENED, Change.CLEARED}

some_minutes = st.lists(st.integers(0, LENGTH_MINUTES * MINUTE_MS), max_size=30)
chances = st.randoms(use_true_random=False)


def _judged(readings: Iterable[Reading], schedule: Sequence[RoomLimits]) -> tuple[RoomState, tuple[Event, ...]]:
    return evaluate(unjudged(), schedule=schedule, readings=readings, until_ms=END_MS)


def _in_portions(
    readings: Sequence[Reading],
    schedule: Sequence[RoomLimits],
    moments: Iterable[Instant],
    *,
    written_down: bool = False,
) -> tuple[RoomState, tuple[Event, ...]]:
    state = unjudged()
    events: list[Event] = []
    for moment in moments:
        state, new = evaluate(state, schedule=schedule, readings=readings, until_ms=moment)
        state = from_plain(json.loads(json.dumps(to_plain(state)))) if written_down else state
        events += new
    return state, tuple(events)


def _judged_so_far(state: RoomState) -> RoomState:
    """Without the hint when to look again, which may be too early and is remade at every look."""
    return replace(state, next_ms=0)


# --- however it is cut, ordered or repeated -----------------------------------------------------------------


@settings(STEADY, max_examples=40)
@given(histories(), schedules(), some_minutes)
def test_portions_make_no_difference_whatever_changes_meanwhile(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], cuts: list[int]
) -> None:
    """Holds, other figures, other crops, quick changes: each portion takes up where the last one ended."""
    changes = [limit.from_ms for limit in schedule if unjudged().clock_ms < limit.from_ms < END_MS]
    moments = sorted({*(minute(0) + cut for cut in cuts), *changes, *(c - 1 for c in changes), END_MS})
    state, events = _in_portions(readings, schedule, moments)
    tidy, once = _judged(readings, schedule)
    assert events == once
    assert _judged_so_far(state) == _judged_so_far(tidy)


@settings(STEADY, max_examples=40)
@given(histories(), schedules(), some_minutes)
def test_a_state_read_back_from_paper_is_the_same_state(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], cuts: list[int]
) -> None:
    moments = sorted({*(minute(0) + cut for cut in cuts), END_MS})
    assert _in_portions(readings, schedule, moments, written_down=True) == _in_portions(
        readings, schedule, moments
    )


@settings(STEADY, max_examples=40)
@given(histories(), schedules(), chances)
def test_neither_order_nor_repetition_matters_to_a_tidy_history(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], chance: Random
) -> None:
    tidy = list({(r.probe, r.quantity, r.at_ms): r for r in readings}.values())
    mixed = [*tidy, *chance.sample(tidy, len(tidy) // 2)]
    chance.shuffle(mixed)
    assert _judged(mixed, schedule) == _judged(tidy, schedule)


@settings(STEADY)
@given(histories(), schedules())
def test_judging_what_was_judged_changes_nothing(
    readings: list[Reading], schedule: tuple[RoomLimits, ...]
) -> None:
    state, _ = _judged(readings, schedule)
    assert evaluate(state, schedule=schedule, readings=readings, until_ms=END_MS) == (state, ())
    old = [reading for reading in readings if reading.at_ms <= END_MS]
    later, events = evaluate(state, schedule=schedule, readings=old, until_ms=END_MS + 1)
    assert {key: track.is_open for key, track in later.tracks.items()} == {
        key: track.is_open for key, track in state.tracks.items()
    } or events


# --- one alarm for one limit --------------------------------------------------------------------------------


@settings(STEADY, max_examples=40)
@given(histories(), schedules(), chances)
def test_every_story_is_one_that_the_table_of_alarms_allows(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], chance: Random
) -> None:
    """Whether somebody answers in between or not, no limit ever makes a second alarm beside its first."""
    state, events = _judged(readings, schedule)
    alarms: dict[Key, State] = {}
    for event in events:
        before = alarms.get(event.key, State.NORMAL)
        after = move(before, _happens(event, before), beyond_now=event.beyond).to
        if after is State.UNACKNOWLEDGED and chance.random() < 0.5:
            after = move(after, Happens.ACKNOWLEDGED).to
        alarms[event.key] = after
    assert {key for key, one in alarms.items() if one in OPEN} == _keys(state, told=True)
    assert {key for key, one in alarms.items() if one in HELD_BACK} == _keys(state, told=False)


def _happens(event: Event, before: State) -> Happens:
    match event.change:
        case Change.RAISED:
            happens = when_beyond(before)
            assert happens is not None, f"{event.key} is raised while it is {before}"
            return happens
        case Change.DEEPENED:
            return Happens.DEEPENED
        case Change.CLEARED:
            return Happens.CLEARED
        case Change.HELD:
            assert event.hold is not None
            return Happens.SHELVED if event.hold.why is Why.LEFT else Happens.SUPPRESSED
        case Change.RELEASED:
            return HELD_BACK[before]


def _keys(state: RoomState, *, told: bool) -> set[Key]:
    return {key for key, track in state.tracks.items() if (track.is_told if told else track.held)}


@settings(STEADY, max_examples=40)
@given(histories(), schedules())
def test_events_come_in_order_and_begin_before_they_are_told(
    readings: list[Reading], schedule: tuple[RoomLimits, ...]
) -> None:
    _, events = _judged(readings, schedule)
    assert all(before.at_ms <= after.at_ms for before, after in pairwise(events))
    for event in events:
        assert event.began_ms <= event.at_ms
        if event.change is Change.CLEARED:
            assert event.back_ms is not None
            assert event.began_ms <= event.back_ms <= event.at_ms


# --- wait and recover ---------------------------------------------------------------------------------------


@settings(STEADY, max_examples=40)
@given(histories())
def test_wait_and_recover_are_whole_and_never_both_counted(readings: list[Reading]) -> None:
    """By one probe: beyond all through the wait, back all through the recover time, and no minute in both."""
    mine = [r for r in readings if r.probe == DOOR_PROBE and r.quantity is HUMIDITY_LOW[0]]
    said = {r.at_ms: r.value for r in mine}
    near = limits(SLOW).limits[HUMIDITY_LOW].near
    _, events = _judged([replace(mine[0], at_ms=at, value=said[at]) for at in said], [limits(SLOW)])
    counted: list[tuple[Instant, Instant]] = []
    for event in events:
        raised = event.change is Change.RAISED
        from_ms = event.at_ms - (near.wait_ms if raised else near.recover_ms)
        counts = near.is_beyond if raised else near.is_back
        assert all(counts(value) for at, value in said.items() if from_ms <= at < event.at_ms)
        assert from_ms in said, "it begins with a reading"
        counted.append((from_ms, event.at_ms))
    assert all(before[1] <= after[0] for before, after in pairwise(counted))


# --- what is held back --------------------------------------------------------------------------------------


def _covered(event: Event, schedule: Sequence[RoomLimits]) -> bool:
    """Whether a hold covers the event's limit at its moment; at the very moment of a change either may be."""
    since = max((s for s in schedule if s.from_ms <= event.at_ms), key=lambda s: s.from_ms)
    return event.key in since.holds and since.from_ms < event.at_ms


@settings(STEADY, max_examples=40)
@given(histories(), schedules())
def test_nobody_is_told_of_a_limit_while_it_is_held_back(
    readings: list[Reading], schedule: tuple[RoomLimits, ...]
) -> None:
    _, events = _judged(readings, schedule)
    assert [e for e in events if e.change in {*SPEAKING, Change.RELEASED} and _covered(e, schedule)] == []


@settings(STEADY, max_examples=40)
@given(histories(), schedules())
def test_what_is_held_back_is_released_once_or_waits_for_it_still(
    readings: list[Reading], schedule: tuple[RoomLimits, ...]
) -> None:
    state, events = _judged(readings, schedule)
    now = max((s for s in schedule if s.from_ms <= END_MS), key=lambda s: s.from_ms)
    for key in {event.key for event in events}:
        story = [e.change for e in events if e.key == key and e.change in {Change.HELD, Change.RELEASED}]
        assert story == [Change.HELD, Change.RELEASED] * (len(story) // 2) + [Change.HELD] * (len(story) % 2)
        waits = key in state.tracks and state.tracks[key].held
        assert waits == (len(story) % 2 == 1)
        assert not waits or key in now.holds


@settings(STEADY, max_examples=40)
@given(histories(), schedules(), st.integers(0, LENGTH_MINUTES))
def test_what_is_held_back_is_judged_as_if_it_were_not(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], start: int
) -> None:
    """Time outside while somebody works counts: every limit stands where it would stand without the hold."""
    free = tuple(replace(limit, holds={}) for limit in schedule)
    held, told = _judged(readings, _working_from(free, minute(start)))
    without, anyway = _judged(readings, free)
    assert _stands(held) == _stands(without)
    assert [e for e in told if e.at_ms < minute(start)] == [e for e in anyway if e.at_ms < minute(start)]


def _working_from(schedule: Sequence[RoomLimits], from_ms: Instant) -> list[RoomLimits]:
    """The same limits, and from a moment on somebody works in the room until after the night."""
    hold = Hold(why=Why.WORKING, from_ms=from_ms, until_ms=END_MS + MINUTE_MS, who="Ines")
    before = [limit for limit in schedule if limit.from_ms < from_ms]
    now = replace(in_force(schedule, from_ms), from_ms=from_ms)
    after = [now, *(limit for limit in schedule if limit.from_ms > from_ms)]
    return [*before, *(replace(limit, holds=dict.fromkeys(limit.limits, hold)) for limit in after)]


def _stands(state: RoomState) -> Mapping[Key, Track]:
    """Where every limit stands, held back or not. Since when nothing has been the matter is no part of that."""
    return {
        key: replace(
            track, near=_since(track.near), far=_since(track.far), began_ms=_began(track), worst=_worst(track)
        )
        for key, track in ((key, replace(track, held=False, over_ms=None)) for key, track in state.tracks.items())
    }


def _since(watch: Watch) -> Watch:
    return replace(watch, since_ms=0) if watch.phase is Phase.INSIDE else watch


def _worst(track: Track) -> float | None:
    return None if track.near.phase is Phase.INSIDE else track.worst


def _began(track: Track) -> Instant:
    return 0 if track.near.phase is Phase.INSIDE else track.began_ms
