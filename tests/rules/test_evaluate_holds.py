"""What is held back is judged all the same, and told at its end if it still holds. These are our own rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from rules.evaluate import standing
from rules.event import Event
from rules.limits import Hold, RoomLimits, Why
from rules.model import Quantity
from tests.support.rooms import (
    HUMIDITY_LOW,
    WARM,
    every_minute,
    in_minutes,
    judged,
    limits,
    minute,
    moves,
    text_limit,
)

pytestmark = pytest.mark.pure

# Below 80 % for 8 minutes, below 70 % for 3; over when back at 83 % for 5 minutes.
FIGURES = {HUMIDITY_LOW: text_limit(80, far=70, far_wait=3)}
FINE, DRY = 90.0, 78.0


def _held(start: float, end: float, *, why: Why = Why.WORKING) -> RoomLimits:
    hold = Hold(why=why, from_ms=minute(start), until_ms=minute(end), who="Ana")
    return replace(limits(FIGURES, at=start), holds={HUMIDITY_LOW: hold})


def _working(start: float, end: float) -> list[RoomLimits]:
    """The room's limits, with somebody working there from one minute to another."""
    return [limits(FIGURES), _held(start, end), limits(FIGURES, at=end)]


def _told(events: Sequence[Event]) -> list[tuple[str, float, bool]]:
    return [(e.change.value, in_minutes(e.at_ms), e.beyond) for e in events]


def test_a_fall_while_somebody_works_is_told_when_the_work_ends() -> None:
    _, events = judged(every_minute([FINE] * 5 + [DRY] * 40), *_working(2, 30), until=44)
    assert _told(events) == [("held", 13, True), ("released", 30, True)]
    assert in_minutes(events[1].began_ms) == 5
    assert events[0].hold == Hold(why=Why.WORKING, from_ms=minute(2), until_ms=minute(30), who="Ana")
    assert events[1].hold is None


def test_what_came_and_went_while_somebody_worked_is_released_in_silence() -> None:
    state, events = judged(every_minute([FINE] * 5 + [DRY] * 10 + [FINE] * 30), *_working(2, 30), until=44)
    assert _told(events) == [("held", 13, True), ("released", 30, False)]
    assert not state.tracks[HUMIDITY_LOW].held


def test_what_comes_back_twice_while_somebody_works_is_held_once() -> None:
    swing = [FINE] * 5 + [DRY] * 10 + [FINE] * 10 + [DRY] * 30
    _, events = judged(every_minute(swing), *_working(2, 50), until=54)
    assert _told(events) == [("held", 13, True), ("released", 50, True)]


def test_an_open_alarm_is_held_from_the_moment_the_work_begins() -> None:
    _, events = judged(every_minute([DRY] * 45), *_working(20, 30), until=44)
    assert _told(events) == [("raised", 8, True), ("held", 20, True), ("released", 30, True)]


def test_time_outside_while_somebody_works_counts_towards_the_wait() -> None:
    _, events = judged(every_minute([FINE] * 5 + [DRY] * 20), *_working(2, 10), until=24)
    assert _told(events) == [("raised", 13, True)], "five of the eight minutes were during the work"


def test_a_dip_shorter_than_the_wait_holds_nothing() -> None:
    _, events = judged(every_minute([FINE] * 5 + [DRY] * 6 + [FINE] * 20), *_working(2, 25), until=30)
    assert _told(events) == []


def test_depth_while_somebody_works_is_told_with_the_rest() -> None:
    _, events = judged(every_minute([FINE] * 5 + [65] * 40), *_working(2, 30), until=44)
    assert _told(events) == [("held", 8, True), ("released", 30, True)]
    assert events[1].deepened
    _, events = judged(every_minute([DRY] * 15 + [65] * 30), *_working(10, 30), until=44)
    assert _told(events) == [("raised", 8, True), ("held", 10, True), ("released", 30, True)]
    assert events[2].deepened


def test_a_room_that_is_on_its_way_back_when_the_work_ends_starts_afresh() -> None:
    back = [DRY] * 27 + [FINE] * 4 + [DRY] * 20
    _, events = judged(every_minute(back), *_working(2, 30), until=50)
    assert _told(events) == [("held", 8, True), ("released", 30, False), ("raised", 39, True)]


def test_a_limit_that_goes_while_it_is_held_is_released_with_it() -> None:
    emptied = [limits(FIGURES), _held(2, 60), limits({}, at=20)]
    state, events = judged(every_minute([DRY] * 30), *emptied, until=29)
    assert _told(events) == [("held", 8, True), ("released", 20, False)]
    assert events[1].judged_by is None
    assert dict(state.tracks) == {}


def test_only_what_is_named_is_held() -> None:
    figures = {**FIGURES, WARM: text_limit(24, margin=1)}
    hold = Hold(why=Why.LEFT, from_ms=minute(0), until_ms=minute(60), who="Ben")
    room = replace(limits(figures), holds={HUMIDITY_LOW: hold})
    warm = every_minute([30.0] * 20, quantity=Quantity.TEMPERATURE)
    _, events = judged([*every_minute([DRY] * 20), *warm], room, until=19)
    assert {(e.change.value, e.key) for e in events} == {("held", HUMIDITY_LOW), ("raised", WARM)}


def test_what_is_held_back_does_not_stand_open() -> None:
    state, _ = judged(every_minute([DRY] * 20), *_working(2, 60), until=19)
    assert standing(state, schedule=_working(2, 60)) == ()
    state, _ = judged(every_minute([DRY] * 20), limits(FIGURES), until=19)
    assert [e.key for e in standing(state, schedule=[limits(FIGURES)])] == [HUMIDITY_LOW]


def test_one_hold_after_another_is_one() -> None:
    after = [limits(FIGURES), _held(2, 15), _held(15, 30, why=Why.LEFT), limits(FIGURES, at=30)]
    _, events = judged(every_minute([DRY] * 40), *after, until=39)
    assert _told(events) == [("held", 8, True), ("released", 30, True)]


def test_an_alarm_that_is_held_and_unknown_is_released_as_it_was() -> None:
    """Nobody can say whether it still holds: it is open, and told when somebody can."""
    _, events = judged(every_minute([DRY] * 12), *_working(2, 40), until=44)
    assert _told(events) == [("held", 8, True), ("released", 40, True)]
    assert events[1].value is None
    assert moves(events) == [("held", 8), ("released", 40)]


def test_what_is_inside_the_limit_again_when_the_work_ends_is_not_told() -> None:
    """Not back by the margin, but nobody is woken at 81 % for a limit of 80. A new fall waits anew."""
    state, events = judged(every_minute([DRY] * 25 + [81] * 10 + [DRY] * 20), *_working(2, 30), until=54)
    assert _told(events) == [("held", 8, True), ("released", 30, False), ("raised", 43, True)]
    assert in_minutes(events[-1].began_ms) == 35
    assert not state.tracks[HUMIDITY_LOW].held


def test_what_a_new_limit_finds_over_its_wait_while_somebody_works_is_held() -> None:
    short = replace(limits({HUMIDITY_LOW: text_limit(80, wait=3)}, at=6), holds=_held(2, 30).holds)
    schedule = [limits(FIGURES), _held(2, 6), short, limits(FIGURES, at=30)]
    _, events = judged(every_minute([DRY] * 40), *schedule, until=39)
    assert _told(events) == [("held", 6, True), ("released", 30, True)]


def test_what_stands_open_says_whether_the_limit_is_passed_right_now() -> None:
    state, _ = judged(every_minute([DRY] * 20), limits(FIGURES), until=19)
    assert [e.beyond for e in standing(state, schedule=[limits(FIGURES)])] == [True]
    state, _ = judged(every_minute([DRY] * 20 + [81]), limits(FIGURES), until=20)
    assert [e.beyond for e in standing(state, schedule=[limits(FIGURES)])] == [False]
    state, _ = judged(every_minute([DRY] * 20), limits(FIGURES), until=60)
    assert [(e.value, e.beyond) for e in standing(state, schedule=[limits(FIGURES)])] == [(None, True)]


def test_what_stands_open_is_only_that_even_where_a_hold_was_not_looked_at_yet() -> None:
    """After late readings a state has no fingerprint, and the next judgement holds back what is open."""
    state, _ = judged(every_minute([DRY] * 20), limits(FIGURES), until=19)
    assert standing(replace(state, fingerprint=""), schedule=_working(2, 60)) == ()


def test_what_was_mended_meanwhile_says_what_it_was_and_when_it_came_back() -> None:
    _, events = judged(every_minute([DRY] * 12 + [74] + [FINE] * 30), *_working(10, 30), until=42)
    assert _told(events) == [("raised", 8, True), ("held", 10, True), ("released", 30, False)]
    over = events[2]
    assert (in_minutes(over.began_ms), in_minutes(over.back_ms), over.worst, over.value) == (0, 13, 74, FINE)
    _, events = judged(every_minute([DRY] * 28 + [FINE] * 14), *_working(10, 30), until=41)
    assert _told(events)[-1] == ("released", 30, False), "back for two of its five minutes"
    assert in_minutes(events[2].back_ms) == 28
