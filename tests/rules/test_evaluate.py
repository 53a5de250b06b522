"""What a room's readings come to: one alarm per fall, and the facts that go with it.

Figures are made up; the rules are those of this project (waits, holds, farthest-out probe) and have no outside
source except the meaning of the delays (see ``test_condition.py``).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.evaluate import evaluate
from rules.event import Change
from rules.model import SECOND_MS, Quantity, Side
from tests.support.rooms import (
    BACK_PROBE,
    CO2_HIGH,
    COLD,
    DOOR_PROBE,
    HUMIDITY_HIGH,
    HUMIDITY_LOW,
    WARM,
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

pytestmark = pytest.mark.pure

# Below 80 % for 8 minutes; over when back at 83 % for 5 minutes.
ROOM = limits({HUMIDITY_LOW: text_limit(80)})
# The same, and below 70 % it speaks after 3 minutes.
DEEP = limits({HUMIDITY_LOW: text_limit(80, far=70, far_wait=3)})


def test_one_fall_makes_one_alarm_and_one_end() -> None:
    fall = every_minute([90] * 5 + [78] * 30 + [90] * 15)
    _, events = judged(fall, ROOM, until=50)
    assert moves(events) == [("raised", 13), ("cleared", 40)]


def test_swinging_between_limit_and_margin_is_still_the_same_fall() -> None:
    fall = every_minute([90] * 5 + [78, 81] * 4 + [78] * 10 + [79, 82.9] * 10)
    state, events = judged(fall, ROOM, until=43)
    assert moves(events) == [("raised", 21)]
    assert open_alarms(state) == {HUMIDITY_LOW}


def test_a_value_back_inside_before_the_wait_is_over_makes_nothing() -> None:
    _, events = judged(every_minute([90] * 5 + [78] * 7 + [80] + [90] * 10), ROOM, until=30)
    assert moves(events) == []


def test_a_wait_that_is_over_is_over_even_if_the_next_reading_is_back_inside() -> None:
    _, events = judged(every_minute([78] * 8 + [90] * 6), ROOM, until=8)
    assert moves(events) == [("raised", 8)]


def test_an_alarm_needs_no_reading_at_its_moment() -> None:
    _, events = judged(every_minute([78, 78, 78], step=4), ROOM, until=11)
    assert moves(events) == [("raised", 8)]


def test_a_value_holds_for_three_usual_intervals() -> None:
    beyond = every_minute([78] * 5)  # the last at minute 4, holds to minute 7
    _, events = judged([*beyond, *every_minute([78] * 20, start=8)], ROOM, until=30)
    assert moves(events) == [("raised", 16)], "nothing held from minute 7 to 8, so the wait began anew"
    _, events = judged([*beyond, *every_minute([78] * 20, start=7)], ROOM, until=30)
    assert moves(events) == [("raised", 8)], "a reading at the very moment takes over"


def test_a_value_holds_for_a_quarter_of_an_hour_at_most() -> None:
    slow = limits({HUMIDITY_LOW: text_limit(80, wait=40)})
    _, events = judged(every_minute([78] * 20, step=10), slow, until=190)
    assert moves(events) == [("raised", 40)]
    _, events = judged(every_minute([78] * 20, step=16), slow, until=304)
    assert moves(events) == [], "for a minute before each reading nobody can say"


def test_a_probe_heard_once_is_taken_to_speak_every_five_minutes() -> None:
    patient = limits({HUMIDITY_LOW: text_limit(80, wait=14.9)})
    _, events = judged(every_minute([78]), patient, until=60)
    assert moves(events) == [("raised", 14.9)]
    longer = limits({HUMIDITY_LOW: text_limit(80, wait=15.1)})
    _, events = judged(every_minute([78]), longer, until=60)
    assert moves(events) == []


def test_an_open_alarm_stays_open_over_a_gap() -> None:
    state, events = judged(every_minute([78] * 12), ROOM, until=600)
    assert moves(events) == [("raised", 8)]
    assert open_alarms(state) == {HUMIDITY_LOW}


def test_coming_back_does_not_count_over_a_gap() -> None:
    readings = [*every_minute([78] * 12), *every_minute([90] * 2, start=12), *every_minute([90] * 9, start=30)]
    _, events = judged(readings, ROOM, until=60)
    assert moves(events) == [("raised", 8), ("cleared", 35)]
    assert in_minutes(events[1].back_ms) == 30


def test_the_room_is_judged_by_its_farthest_out_probe() -> None:
    fine = every_minute([90] * 20, probe=BACK_PROBE)
    _, events = judged([*fine, *every_minute([78] * 20)], ROOM, until=15)
    assert [(e.probe, e.value) for e in events] == [(DOOR_PROBE, 78)]


def test_a_probe_that_two_gateways_hear_is_watched_like_any_other() -> None:
    """Bare numbers have no identity, so each report is stored twice, a moment apart."""
    fall = every_minute([90] * 5 + [78] * 30)
    echo = [replace(reading, at_ms=reading.at_ms + 20) for reading in fall]
    _, events = judged([*fall, *echo], ROOM, until=34)
    assert moves(events) == [("raised", 13)]


def test_for_a_high_limit_the_farthest_out_probe_is_the_highest() -> None:
    warm = limits({WARM: text_limit(24, margin=1)})
    door = every_minute([20] * 20, quantity=Quantity.TEMPERATURE)
    back = every_minute([25] * 20, quantity=Quantity.TEMPERATURE, probe=BACK_PROBE)
    _, events = judged([*door, *back], warm, until=15)
    assert [(e.side, e.probe, e.value) for e in events] == [(Side.HIGH, BACK_PROBE, 25)]


def test_one_probe_taking_over_from_another_does_not_restart_the_wait() -> None:
    door = every_minute([78] * 5 + [90] * 10)
    back = every_minute([90] * 4 + [77] * 11, probe=BACK_PROBE)
    _, events = judged([*door, *back], ROOM, until=14)
    assert moves(events) == [("raised", 8)]
    assert (events[0].probe, in_minutes(events[0].began_ms)) == (BACK_PROBE, 0)


def test_a_probe_that_left_the_room_no_longer_speaks_for_it() -> None:
    state, _ = judged(every_minute([78] * 5), ROOM, until=4)
    stayed = every_minute([90] * 20, start=5, probe=BACK_PROBE)
    state, events = evaluate(
        state, schedule=[ROOM], readings=stayed, until_ms=minute(24), placed=frozenset({BACK_PROBE})
    )
    assert moves(events) == []
    assert {probe for probe, _ in state.held} == {BACK_PROBE}


def test_the_far_limit_with_its_shorter_wait_raises_by_itself_and_is_told_once() -> None:
    _, events = judged(every_minute([90] * 5 + [60] * 30), DEEP, until=34)
    assert moves(events) == [("raised", 8)]
    assert events[0].deepened


def test_an_alarm_that_gets_deeper_says_so_once() -> None:
    fall = every_minute([90] * 5 + [78] * 10 + [69] * 10 + [75] * 10 + [69] * 10)
    _, events = judged(fall, DEEP, until=44)
    assert moves(events) == [("raised", 13), ("deepened", 18)]
    assert [event.deepened for event in events] == [False, True]


def test_a_short_visit_beyond_the_far_limit_is_no_depth() -> None:
    fall = every_minute([90] * 5 + [78] * 10 + [69] * 2 + [78] * 10)
    state, events = judged(fall, DEEP, until=26)
    assert moves(events) == [("raised", 13)]
    assert not state.tracks[HUMIDITY_LOW].deepened


def test_after_an_end_depth_counts_anew() -> None:
    swing = [60] * 10 + [90] * 10
    _, events = judged(every_minute(swing * 2), DEEP, until=39)
    assert [m[0] for m in moves(events)] == ["raised", "cleared", "raised", "cleared"]


def test_a_wait_of_nothing_speaks_at_the_reading_itself() -> None:
    at_once = limits({HUMIDITY_LOW: text_limit(80, wait=0, recover=0)})
    _, events = judged(every_minute([90, 78, 90, 78]), at_once, until=3)
    assert moves(events) == [("raised", 1), ("cleared", 2), ("raised", 3)]


def test_a_stage_change_at_night_takes_the_new_limits_from_its_moment() -> None:
    pins, rest = ROOM, limits({HUMIDITY_LOW: text_limit(60)}, at=20, name="rest")
    _, events = judged(every_minute([90] * 15 + [75] * 40), pins, rest, until=54)
    assert moves(events) == [], "75 % is low for five minutes of pinning, and fine at rest"


def test_a_wait_starts_with_the_limit_that_is_passed() -> None:
    rest, pins = limits({HUMIDITY_LOW: text_limit(70)}, name="rest"), limits({HUMIDITY_LOW: text_limit(80)}, at=20)
    _, events = judged(every_minute([75] * 40), rest, pins, until=39)
    assert moves(events) == [("raised", 28)]
    assert in_minutes(events[0].began_ms) == 20


def test_a_batch_that_comes_without_setting_a_limit_restarts_no_wait() -> None:
    same_again = limits({HUMIDITY_LOW: text_limit(80)}, at=5)
    _, events = judged(every_minute([78] * 20), ROOM, same_again, until=19)
    assert moves(events) == [("raised", 8)]


def test_an_open_alarm_stays_open_through_a_stage_change_and_ends_by_the_new_limit() -> None:
    rest = limits({HUMIDITY_LOW: text_limit(60)}, at=20, name="rest")
    _, events = judged(every_minute([75] * 40), ROOM, rest, until=39)
    assert moves(events) == [("raised", 8), ("cleared", 25)]
    assert (in_minutes(events[1].began_ms), in_minutes(events[1].back_ms)) == (0, 20)


def test_a_wait_for_depth_goes_on_while_the_value_is_beyond_each_limit_in_force() -> None:
    deeper = limits({HUMIDITY_LOW: text_limit(80, far=68, far_wait=3)}, at=20)
    _, events = judged(every_minute([78] * 18 + [65] * 12), DEEP, deeper, until=29)
    assert moves(events) == [("raised", 8), ("deepened", 21)]


def test_an_alarm_whose_limit_is_gone_ends_with_it() -> None:
    empty = limits({}, at=20)
    state, events = judged(every_minute([75] * 40), ROOM, empty, until=39)
    assert moves(events) == [("raised", 8), ("cleared", 20)]
    assert events[1].judged_by is None
    assert state.tracks == {}


def test_a_limit_that_is_gone_while_nothing_was_said_ends_in_silence() -> None:
    _, events = judged(every_minute([75] * 40), ROOM, limits({}, at=5), until=39)
    assert moves(events) == []


def test_a_room_without_crop_is_never_judged() -> None:
    state, events = judged(every_minute([10] * 40), until=39)
    assert (events, dict(state.tracks)) == ((), {})


def test_the_event_carries_what_a_text_says() -> None:
    room = limits(
        {
            HUMIDITY_LOW: text_limit(80),
            HUMIDITY_HIGH: text_limit(99, margin=1),
            WARM: text_limit(24, margin=1, wait=60),
            COLD: text_limit(10, margin=1),
            CO2_HIGH: text_limit(1500, margin=100),
        }
    )
    readings = [
        *every_minute([90] * 2 + [79, 76, 77] + [78] * 20),
        *every_minute([16.0] * 5 + [26.0] * 20, quantity=Quantity.TEMPERATURE),
        *every_minute([900.0] * 25, quantity=Quantity.CO2),
        *every_minute([3.1] * 25, quantity=Quantity.BATTERY),
    ]
    _, (event,) = judged(readings, room, until=20)
    assert (event.change, event.key, in_minutes(event.at_ms)) == (Change.RAISED, HUMIDITY_LOW, 10)
    assert in_minutes(event.began_ms) == 2
    assert (event.first_value, event.worst, event.value, event.probe) == (79, 76, 78, DOOR_PROBE)
    assert event.values == {
        Quantity.HUMIDITY: 78,
        Quantity.TEMPERATURE: 26.0,
        Quantity.CO2: 900.0,
        Quantity.BATTERY: 3.1,
    }
    assert event.normal == (Quantity.CO2,), "battery has no limit, and it is warm already"
    assert event.also_beyond == (WARM,)
    assert event.judged_by is not None
    assert event.judged_by.near.limit == 80
    assert event.back_ms is None


def test_the_worst_value_is_that_of_the_whole_stretch_and_not_of_the_one_before() -> None:
    swing = [85] * 3 + [60] + [90] * 3 + [79, 77] + [78] * 10 + [90] * 8
    _, events = judged(every_minute(swing), ROOM, until=30)
    assert [(e.change.value, e.worst) for e in events] == [("raised", 77), ("cleared", 77)]


def test_other_quantities_are_told_by_their_newest_probe() -> None:
    old = every_minute([12.0], start=5, quantity=Quantity.TEMPERATURE, probe=BACK_PROBE)
    new = every_minute([14.0], start=6, quantity=Quantity.TEMPERATURE)
    _, (event,) = judged([*every_minute([78] * 10), *old, *new], ROOM, until=9)
    assert event.values[Quantity.TEMPERATURE] == 14.0


def test_readings_outside_the_span_are_left_alone() -> None:
    early = every_minute([10] * 20, start=-30)
    late = every_minute([10] * 20, start=11)
    state, events = judged([*early, *every_minute([90] * 11), *late], ROOM, until=10)
    assert moves(events) == []
    assert state.held[(DOOR_PROBE, Quantity.HUMIDITY)].value == 90


def test_judging_to_where_it_was_judged_already_changes_nothing() -> None:
    state = unjudged()
    assert evaluate(state, schedule=[ROOM], readings=every_minute([10]), until_ms=state.clock_ms) == (state, ())
    before = state.clock_ms - SECOND_MS
    assert evaluate(state, schedule=[ROOM], readings=every_minute([10]), until_ms=before) == (state, ())


def test_an_alarm_does_not_end_because_the_probe_that_is_out_falls_silent() -> None:
    """The other probe reads well, and nobody can say that the far end of the room does."""
    door = every_minute([78] * 20)
    fine = every_minute([95] * 60, probe=BACK_PROBE)
    _, events = judged([*door, *fine], ROOM, until=59)
    assert [e.change for e in events] == [Change.RAISED]
    again = [replace(reading, at_ms=reading.at_ms + 40 * 60 * SECOND_MS) for reading in every_minute([95] * 19)]
    _, events = judged([*door, *fine, *again], ROOM, until=59)
    assert [e.change for e in events] == [Change.RAISED, Change.CLEARED]


def test_a_wait_that_a_new_limit_finds_over_is_over_when_the_new_limit_begins() -> None:
    """Never before: by the limit that held until then nobody had waited long enough."""
    short = limits({HUMIDITY_LOW: text_limit(80, wait=3)}, at=7.5)
    patient = limits({HUMIDITY_LOW: text_limit(80, wait=10)})
    _, events = judged(every_minute([78] * 20), patient, short, until=19)
    assert moves(events) == [("raised", 7.5)]
    assert in_minutes(events[0].began_ms) == 0
    state, events = judged(every_minute([78] * 20), patient, short, until=7.5)
    assert moves(events) == [("raised", 7.5)], "whoever looks at that very moment sees it too"
    assert judged(every_minute([78] * 20), patient, short, until=19, state=state)[1] == ()


def test_a_recovery_that_a_new_limit_finds_over_is_over_when_the_new_limit_begins() -> None:
    brief = limits({HUMIDITY_LOW: text_limit(80, recover=1)}, at=17.5)
    _, events = judged(every_minute([78] * 14 + [90] * 10), ROOM, brief, until=23)
    assert moves(events) == [("raised", 8), ("cleared", 17.5)]
    assert in_minutes(events[1].back_ms) == 14


def test_a_reading_of_one_quantity_says_nothing_of_another() -> None:
    both = limits({HUMIDITY_LOW: text_limit(80), WARM: text_limit(24, margin=1)})
    dry = every_minute([90] * 5 + [78] * 30)
    mild = every_minute([20.0] * 60, step=0.5, start=0.25, quantity=Quantity.TEMPERATURE)
    _, events = judged([*dry, *mild], both, until=34)
    assert [(e.key, in_minutes(e.at_ms), e.normal) for e in events] == [
        (HUMIDITY_LOW, 13, (Quantity.TEMPERATURE,))
    ]
