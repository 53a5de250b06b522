"""Late readings of a time in which limits were held back. The rules are the project's own; no outside source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from rules.event import Change, Event
from rules.hindsight import judge_again, window_from
from rules.limits import Hold, RoomLimits, Why
from rules.model import Reading
from rules.room_state import RoomState
from tests.support.rooms import (
    HUMIDITY_LOW,
    every_minute,
    in_minutes,
    judged,
    limits,
    minute,
    moves,
    text_limit,
)

pytestmark = pytest.mark.pure

# Below 80 % for 8 minutes; over when back at 83 % for 5 minutes.
FIGURES = {HUMIDITY_LOW: text_limit(80)}
FINE, DRY = 90.0, 78.0
FALL = every_minute([FINE] * 10 + [DRY] * 50)


def _working(start: float, end: float) -> list[RoomLimits]:
    hold = Hold(why=Why.WORKING, from_ms=minute(start), until_ms=minute(end), who="Ana")
    during = replace(limits(FIGURES, at=start), holds={HUMIDITY_LOW: hold})
    return [limits(FIGURES), during, limits(FIGURES, at=end)]


def _heard_only_now(
    schedule: Sequence[RoomLimits], late: Sequence[Reading]
) -> tuple[RoomState, tuple[Event, ...]]:
    """Nothing came until minute 59, and then everything at once."""
    state, told = judged([], *schedule, until=59)
    assert told == ()
    from_ms = window_from(state, late[0].at_ms)
    return judge_again(state, from_ms=from_ms, schedule=schedule, readings=late)


def test_what_is_learned_late_while_it_is_held_back_is_held_back_from_its_own_moment() -> None:
    state, owed = _heard_only_now(_working(5, 90), FALL)
    assert moves(owed) == [("held", 18)]
    assert state.tracks[HUMIDITY_LOW].held


def test_it_is_told_when_the_holding_back_ends() -> None:
    schedule = _working(5, 90)
    state, _ = _heard_only_now(schedule, FALL)
    _, events = judged(every_minute([DRY] * 40, start=60), *schedule, until=95, state=state)
    assert [(e.change, in_minutes(e.at_ms), e.beyond) for e in events] == [(Change.RELEASED, 90, True)]


def test_what_was_held_back_at_first_and_is_not_now_is_raised_when_the_work_ended() -> None:
    """It was never told to be held back, so nothing is released: it is simply told, as of that moment."""
    state, owed = _heard_only_now(_working(5, 40), FALL)
    assert moves(owed) == [("raised", 40)]
    assert in_minutes(owed[0].began_ms) == 10
    assert state.tracks[HUMIDITY_LOW].is_told


def test_depth_that_came_after_the_work_ended_is_told_as_well() -> None:
    deep = limits({HUMIDITY_LOW: text_limit(80, far=70, far_wait=3)})
    during, after = (replace(deep, from_ms=s.from_ms, holds=s.holds) for s in _working(5, 40)[1:])
    fall = every_minute([FINE] * 10 + [DRY] * 35 + [65] * 15)
    _, owed = _heard_only_now([deep, during, after], fall)
    assert moves(owed) == [("raised", 40), ("deepened", 48)]


def test_what_came_and_went_while_somebody_worked_is_never_told() -> None:
    state, owed = _heard_only_now(_working(5, 40), every_minute([FINE] * 10 + [DRY] * 20 + [FINE] * 30))
    assert owed == ()
    assert not state.tracks[HUMIDITY_LOW].held


def test_an_alarm_that_was_told_stays_told_when_work_is_written_down_late() -> None:
    """Ana wrote down at minute 59 that she works since minute 5: the next look holds back what is open."""
    state, told = judged(FALL, limits(FIGURES), until=59)
    assert moves(told) == [("raised", 18)]
    schedule = _working(5, 90)
    again, owed = judge_again(state, from_ms=minute(-1), schedule=schedule, readings=FALL)
    assert owed == ()
    _, events = judged(every_minute([DRY] * 3, start=60), *schedule, until=62, state=again)
    assert moves(events) == [("held", 59)]


def test_what_was_held_back_already_stays_so_until_the_work_ends() -> None:
    """Late readings show that it never was out. Nobody was told, so nothing need be taken back."""
    schedule = _working(5, 90)
    state, told = judged(FALL, *schedule, until=59)
    assert moves(told) == [("held", 18)]
    better = [replace(reading, value=FINE) for reading in FALL]
    again, owed = judge_again(state, from_ms=minute(-1), schedule=schedule, readings=better)
    assert owed == ()
    assert again.tracks[HUMIDITY_LOW].held
    _, events = judged(every_minute([FINE] * 35, start=60), *schedule, until=92, state=again)
    assert [(e.change, in_minutes(e.at_ms), e.beyond) for e in events] == [(Change.RELEASED, 90, False)]


def test_what_was_held_back_of_a_limit_that_was_gone_by_then_is_released() -> None:
    """The room was emptied at minute 30, and that is written down only now, together with late readings."""
    state, told = judged(FALL, *_working(5, 90), until=59)
    assert moves(told) == [("held", 18)]
    emptied = [*_working(5, 90)[:2], limits({}, at=30)]
    again, owed = judge_again(state, from_ms=minute(-1), schedule=emptied, readings=FALL)
    assert [(e.change, in_minutes(e.at_ms), e.beyond) for e in owed] == [(Change.RELEASED, 59, False)]
    assert dict(again.tracks) == {}
