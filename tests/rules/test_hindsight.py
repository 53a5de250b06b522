"""Late readings correct the present and leave alone what was told.

The rules are the project's own; the last tests compare with the tidy fold of the same readings, come in time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.event import Event
from rules.hindsight import REACH_MS, judge_again, window_from
from rules.limits import RoomLimits
from rules.model import HOUR_MS, MINUTE_MS, Quantity, Reading
from rules.room_state import RoomState
from tests.support.rooms import (
    BACK_PROBE,
    HUMIDITY_LOW,
    every_minute,
    in_minutes,
    judged,
    limits,
    minute,
    moves,
    open_alarms,
    text_limit,
    unjudged,
)
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

# Below 80 % for 8 minutes, below 70 % for 3; over when back at 83 % for 5 minutes.
ROOM = limits({HUMIDITY_LOW: text_limit(80, far=70, far_wait=3)})
FINE = 90.0


def _again(
    state: RoomState,
    late: Sequence[Reading],
    known: Sequence[Reading] = (),
    *,
    schedule: Sequence[RoomLimits] = (ROOM,),
) -> tuple[RoomState, tuple[Event, ...]]:
    start_ms = window_from(state, min(reading.at_ms for reading in late))
    return judge_again(state, from_ms=start_ms, schedule=schedule, readings=[*known, *late])


def test_it_looks_an_hour_further_back_than_the_late_readings_and_never_beyond_its_reach() -> None:
    state = RoomState(clock_ms=minute(600))
    assert window_from(state, minute(500)) == minute(440)
    assert window_from(state, minute(0)) == minute(600) - REACH_MS
    assert window_from(RoomState(clock_ms=HOUR_MS), 5 * MINUTE_MS) == 0


# --- a lump of three hours at once -----------------------------------------------------------------------------


def test_a_stretch_that_is_over_by_now_raises_nothing() -> None:
    silent, _ = judged([], ROOM, until=180)
    state, owed = _again(silent, every_minute([FINE] * 30 + [60] * 60 + [FINE] * 91))
    assert owed == ()
    assert open_alarms(state) == set()
    assert state.clock_ms == silent.clock_ms


def test_one_that_is_still_going_on_is_raised_at_its_true_moment() -> None:
    silent, _ = judged([], ROOM, until=180)
    state, owed = _again(silent, every_minute([FINE] * 30 + [78] * 151))
    assert moves(owed) == [("raised", 38)]
    assert in_minutes(owed[0].began_ms) == 30
    assert state.tracks[HUMIDITY_LOW].raised_ms == minute(38)


def test_its_depth_is_told_too_and_earlier_stretches_are_not() -> None:
    silent, _ = judged([], ROOM, until=180)
    _, owed = _again(silent, every_minute([60] * 20 + [FINE] * 20 + [78] * 20 + [60] * 121))
    assert moves(owed) == [("raised", 48), ("deepened", 63)]


def test_an_end_at_the_very_moment_of_the_next_raising_is_history() -> None:
    quick = limits({HUMIDITY_LOW: text_limit(80, wait=0, recover=2)})
    silent, _ = judged([], quick, until=10)
    readings = every_minute([78, FINE, FINE, 78, 78, 78, 78, 78, 78, 78, 78])
    _, owed = _again(silent, readings, schedule=[quick])
    assert moves(owed) == [("raised", 3)]


def test_judging_goes_on_from_there_as_if_nothing_had_been_late() -> None:
    readings = every_minute([FINE] * 30 + [78] * 151 + [FINE] * 20)
    silent, _ = judged([], ROOM, until=180)
    state, _ = _again(silent, readings)
    _, events = judged(readings, ROOM, until=200, state=state)
    assert moves(events) == [("cleared", 186)]


# --- an alarm that is told already -----------------------------------------------------------------------------


def test_an_alarm_that_late_readings_show_to_be_over_is_cleared() -> None:
    told = every_minute([78] * 40)
    state, events = judged(told, ROOM, until=180)
    assert moves(events) == [("raised", 8)]
    state, owed = _again(state, every_minute([FINE] * 141, start=40), told)
    assert moves(owed) == [("cleared", 45)]
    assert in_minutes(owed[0].back_ms) == 40
    assert open_alarms(state) == set()


def test_an_alarm_that_would_never_have_been_raised_ends_no_earlier_than_it_was_told() -> None:
    told = every_minute([78] * 4 + [79] * 6, step=2)
    state, events = judged(told, ROOM, until=18)
    assert moves(events) == [("raised", 8)]
    between = every_minute([FINE] * 9, start=1, step=2)
    state, (end,) = _again(state, between, told)
    assert moves([end]) == [("cleared", 18)]
    assert (end.value, end.judged_by, end.probe) == (None, None, None)
    assert (in_minutes(end.began_ms), end.first_value, end.worst) == (0, 78, 78)
    assert open_alarms(state) == set()


def test_an_end_that_was_before_the_telling_is_told_as_of_the_telling() -> None:
    told = every_minute([78] * 9)
    state, events = judged(told, ROOM, until=8)
    assert moves(events) == [("raised", 8)]
    late = [*every_minute([60] * 4 + [FINE] * 16, start=-20), *every_minute([FINE] * 8, start=0.5)]
    state, (end,) = _again(state, late, told)
    assert moves([end]) == [("cleared", 8)], "the only stretch there was ended twenty minutes before"
    assert in_minutes(end.back_ms) == -16
    assert open_alarms(state) == set()


def test_an_alarm_raised_before_the_window_stays_open_in_it() -> None:
    told = every_minute([78] * 120)
    state, _ = judged(told, ROOM, until=119)
    late = every_minute([79] * 5, start=110, probe=BACK_PROBE)
    again, owed = _again(state, late, told)
    assert owed == ()
    assert again.tracks[HUMIDITY_LOW].raised_ms == minute(8)
    assert again.tracks[HUMIDITY_LOW].began_ms == minute(0)


def test_a_told_alarm_keeps_the_moment_at_which_it_was_told() -> None:
    told = every_minute([78] * 40, start=30)
    state, _ = judged(told, ROOM, until=69)
    again, owed = _again(state, every_minute([78] * 30), told)
    assert owed == (), "that it began half an hour earlier is history"
    assert again.tracks[HUMIDITY_LOW].raised_ms == minute(38)


def test_the_depth_of_a_told_alarm_is_told_when_it_becomes_known() -> None:
    told = every_minute([78] * 40)
    state, _ = judged(told, ROOM, until=39)
    again, owed = _again(state, every_minute([65] * 20, start=20, probe=BACK_PROBE), told)
    assert moves(owed) == [("deepened", 23)]
    assert again.tracks[HUMIDITY_LOW].deepened
    assert _again(again, every_minute([64] * 19, start=20.5, probe=BACK_PROBE), told)[1] == (), "and only once"


def test_a_depth_that_was_told_is_not_told_again_in_the_same_alarm() -> None:
    told = [*every_minute([60] * 5), *every_minute([78] * 20, start=20)]
    state, events = judged(told, ROOM, until=39)
    assert moves(events) == [("raised", 3)]
    again, owed = _again(state, every_minute([FINE] * 10, start=5), told)
    assert (owed, again.tracks[HUMIDITY_LOW].deepened) == ((), True), "it is open again by now, and not as deep"


def test_depth_that_would_have_come_with_the_raising_is_told_as_depth() -> None:
    told = every_minute([78] * 40)
    state, _ = judged(told, ROOM, until=39)
    again, owed = _again(state, every_minute([65] * 40, probe=BACK_PROBE), told)
    assert moves(owed) == [("deepened", 8)], "known by minute 3, but nothing is told before the raising"
    assert again.tracks[HUMIDITY_LOW].raised_ms == minute(8)


@pytest.mark.parametrize("wait", [60, 90])
def test_a_wait_longer_than_the_window_is_not_begun_anew(wait: float) -> None:
    slow = limits({HUMIDITY_LOW: text_limit(80, wait=wait)})
    readings = every_minute([78] * 200)
    straggler = every_minute([78.5], probe=BACK_PROBE)[0]
    for until in (wait - 5, wait + 5):
        state, events = judged(readings, slow, until=until)
        late = [replace(straggler, at_ms=state.clock_ms - MINUTE_MS)]
        again, owed = _again(state, late, readings, schedule=[slow])
        assert owed == ()
        assert open_alarms(again) == open_alarms(state)
        _, later = judged(readings, slow, until=wait + 9, state=again)
        assert [*moves(events), *moves(later)] == [("raised", wait)]


def test_an_alarm_told_to_be_over_that_was_not_is_raised_anew_from_that_moment() -> None:
    told = every_minute([78] * 20 + [FINE] * 20)
    state, events = judged(told, ROOM, until=39)
    assert moves(events) == [("raised", 8), ("cleared", 25)]
    again, owed = _again(state, every_minute([77] * 25, start=15, probe=BACK_PROBE), told)
    assert moves(owed) == [("raised", 25)], "never under a moment that was told already"
    assert again.tracks[HUMIDITY_LOW].raised_ms == minute(25)
    assert again.tracks[HUMIDITY_LOW].over_ms == minute(25)


def test_when_an_alarm_was_over_is_remembered_through_another_judgement() -> None:
    told = every_minute([78] * 20 + [FINE] * 20)
    state, _ = judged(told, ROOM, until=39)
    again, _ = _again(state, every_minute([FINE] * 3, start=36, probe=BACK_PROBE), told)
    assert again.tracks[HUMIDITY_LOW].over_ms == minute(25)


# --- limits that changed meanwhile -----------------------------------------------------------------------------


def test_an_open_alarm_ends_when_it_is_learned_late_that_its_limit_was_gone() -> None:
    told = every_minute([78] * 40)
    state, _ = judged(told, ROOM, until=39)
    emptied = [ROOM, limits({}, at=20)]
    again, owed = _again(state, every_minute([78], start=39, probe=BACK_PROBE), told, schedule=emptied)
    assert moves(owed) == [("cleared", 20)]
    assert dict(again.tracks) == {}


def test_it_ends_now_when_by_those_limits_it_never_was() -> None:
    told = every_minute([78] * 40)
    state, _ = judged(told, ROOM, until=39)
    never = [limits({})]
    again, owed = _again(state, every_minute([78], start=39, probe=BACK_PROBE), told, schedule=never)
    assert [(e.change.value, in_minutes(e.at_ms), e.judged_by) for e in owed] == [("cleared", 39, None)]
    assert dict(again.tracks) == {}


def test_a_limit_that_is_new_to_the_room_is_judged_from_its_moment() -> None:
    readings = every_minute([78] * 60)
    state, _ = judged([], until=59)
    _, owed = _again(state, readings, schedule=[limits({}), limits({HUMIDITY_LOW: text_limit(80)}, at=20)])
    assert moves(owed) == [("raised", 28)]


# --- against the tidy fold -------------------------------------------------------------------------------------

VALUES = st.sampled_from([60.0, 69.9, 75.0, 79.9, 80.0, 82.9, 83.0, FINE])


@st.composite
def _nights(draw: st.DrawFn) -> list[Reading]:
    """Up to five hours of one or two probes, each dwelling on a value and away now and then."""
    readings: list[Reading] = []
    for probe_readings in (every_minute, lambda values: every_minute(values, probe=BACK_PROBE)):
        runs = draw(st.lists(st.tuples(VALUES, st.integers(1, 40)), max_size=8))
        away = draw(st.sets(st.integers(0, 300), max_size=10))
        whole = probe_readings([value for value, count in runs for _ in range(count)])
        readings += [reading for index, reading in enumerate(whole) if index not in away]
    return [reading for reading in readings if reading.at_ms <= minute(300)]


@settings(STEADY)
@given(_nights())
def test_a_room_heard_of_only_now_is_as_open_as_if_we_had_listened(readings: list[Reading]) -> None:
    silent, _ = judged([], ROOM, until=300)
    tidy, _ = judged(readings, ROOM, until=300)
    again, owed = judge_again(silent, from_ms=unjudged().clock_ms, schedule=[ROOM], readings=readings)
    assert open_alarms(again) == open_alarms(tidy)
    assert again.tracks == {k: replace(t, over_ms=None) for k, t in tidy.tracks.items()}
    assert {event.key for event in owed} == open_alarms(tidy)


@settings(STEADY)
@given(_nights(), st.sets(st.integers(0, 300), max_size=40), st.integers(60, 299))
def test_readings_that_straggle_in_leave_the_room_as_open_as_if_they_had_not(
    readings: list[Reading], late_minutes: set[int], noticed: int
) -> None:
    late = [r for r in readings if in_minutes(r.at_ms) in late_minutes and r.at_ms <= minute(noticed)]
    in_time = [reading for reading in readings if reading not in late]
    state, told = judged(in_time, ROOM, until=noticed)
    owed: tuple[Event, ...] = ()
    if late:
        state, owed = _again(state, late, readings)
    tidy, _ = judged(readings, ROOM, until=noticed)
    assert open_alarms(state) == open_alarms(tidy)
    assert _open_by(told, owed) == open_alarms(tidy)
    moved = [(event.key, event.change, event.at_ms) for event in (*told, *owed)]
    assert len(set(moved)) == len(moved), "no move stands twice under one moment"


def _open_by(*told: Sequence[Event]) -> set[tuple[Quantity, object]]:
    """The alarms that somebody who only hears the moves takes to be open; each move must be one that can be."""
    heard: set[tuple[Quantity, object]] = set()
    for event in (event for part in told for event in part):
        assert (event.key in heard) is (event.change.value != "raised")
        heard ^= set() if event.change.value == "deepened" else {event.key}
    return heard
