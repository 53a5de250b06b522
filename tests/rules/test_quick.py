"""A quick change has a shorter wait. The figures are made up; the rule is the project's own."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.model import MINUTE_MS, Quantity, Side
from rules.profile import Fast
from rules.quick import PARTS, is_quick, remembered
from rules.room_state import Recent
from tests.support.rooms import HUMIDITY_LOW, WARM, every_minute, judged, limits, minute, moves, text_limit

pytestmark = pytest.mark.pure

# Eight points in ten minutes: three minutes of wait instead of eight.
FAST = Fast(change=8, within_ms=10 * MINUTE_MS, wait_ms=3 * MINUTE_MS)
ROOM = limits({HUMIDITY_LOW: replace(text_limit(80), fast=FAST)})


def _remember(values: list[float], side: Side = Side.LOW) -> Recent:
    recent: Recent = ()
    for index, value in enumerate(values):
        recent = remembered(recent, FAST, side, minute(index), value)
    return recent


def test_a_quick_fall_is_told_sooner() -> None:
    _, events = judged(every_minute([90] * 10 + [86, 82] + [78] * 20), ROOM, until=30)
    assert moves(events) == [("raised", 15)], "78 since minute 12, and 90 within the ten minutes before"


def test_a_slow_drift_has_the_usual_wait() -> None:
    drift = [90 - index * 0.5 for index in range(50)]
    _, events = judged(every_minute(drift), ROOM, until=49)
    assert moves(events) == [("raised", 29)]


def test_a_fall_that_turns_before_its_shorter_wait_is_over_is_not_told() -> None:
    _, events = judged(every_minute([90] * 10 + [78] * 2 + [81] + [90] * 10), ROOM, until=22)
    assert moves(events) == []


def test_a_fall_that_is_no_longer_quick_waits_as_others_do() -> None:
    slower = [90] * 10 + [79.5, 79, 81, *[79] * 20]
    _, events = judged(every_minute(slower), ROOM, until=32)
    assert moves(events) == [("raised", 16)], "outside again at 13, and still ten points under minute 9 at 16"
    _, events = judged(every_minute([84] * 10 + [79] * 20), ROOM, until=29)
    assert moves(events) == [("raised", 18)], "five points are not quick"


def test_an_alarm_that_is_open_is_not_raised_again_by_a_quick_fall() -> None:
    _, events = judged(every_minute([79] * 10 + [70] * 20), ROOM, until=29)
    assert moves(events) == [("raised", 8)]


def test_silence_ends_a_quick_fall() -> None:
    _, events = judged([*every_minute([90] * 10 + [78]), *every_minute([78], start=40)], ROOM, until=41)
    assert moves(events) == [("raised", 13)], "a minute's probe holds its value for three"
    _, events = judged([*every_minute([90] * 10), *every_minute([78], start=10, step=1)], ROOM, until=12)
    assert moves(events) == []


def test_warmth_is_quick_the_other_way() -> None:
    fast = Fast(change=3, within_ms=10 * MINUTE_MS, wait_ms=MINUTE_MS)
    room = limits({WARM: replace(text_limit(24, margin=1), fast=fast)})
    warm = every_minute([18.0] * 5 + [25.0] * 10, quantity=Quantity.TEMPERATURE)
    _, events = judged(warm, room, until=14)
    assert moves(events) == [("raised", 6)]


def test_a_limit_that_is_no_longer_quick_forgets() -> None:
    plain = limits({HUMIDITY_LOW: text_limit(80)}, at=5)
    state, _ = judged(every_minute([90] * 10), ROOM, plain, until=9)
    assert dict(state.recent) == {}
    state, _ = judged(every_minute([90] * 10), ROOM, limits({}, at=5), until=9)
    assert dict(state.recent) == {}


def test_a_tenth_of_the_time_keeps_its_innermost_value() -> None:
    start = minute(0)
    recent = remembered(remembered((), FAST, Side.LOW, minute(0), 84), FAST, Side.LOW, minute(0.5), 86)
    assert recent == ((start, 86),)
    assert remembered(recent, FAST, Side.LOW, minute(0.7), 70) is recent
    assert remembered(((start, 20.0),), FAST, Side.HIGH, minute(0.7), 19.0) == ((start, 19.0),)


def test_no_more_is_kept_than_the_time_looked_back_over() -> None:
    recent = _remember([90.0 - index for index in range(30)])
    assert len(recent) == PARTS
    assert recent[-1][1] == 61


def test_what_lies_further_back_does_not_count() -> None:
    recent = _remember([90.0, 80.0])
    assert is_quick(recent, FAST, Side.LOW, minute(9), 78)
    assert not is_quick(recent, FAST, Side.LOW, minute(10), 78)


def test_values_remembered_for_another_stretch_of_time_are_as_old_as_they_are() -> None:
    """Over five minutes at first, then over half an hour: minute 0 is 45 minutes ago by the time of the fall."""
    short = replace(FAST, within_ms=5 * MINUTE_MS)
    long = replace(FAST, within_ms=30 * MINUTE_MS)
    first = limits({HUMIDITY_LOW: replace(text_limit(80), fast=short)})
    then = limits({HUMIDITY_LOW: replace(text_limit(80), fast=long)}, at=3)
    _, events = judged(every_minute([90] * 3 + [84] * 42 + [79] * 20), first, then, until=64)
    assert moves(events) == [("raised", 53)], "five points in half an hour are not quick"
