"""A probe that was taken out speaks for its room no longer. The rule is the project's own; no outside source."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.event import Event
from rules.hanging import Hung, evaluate_where_hung, hanging
from rules.hindsight import judge_again
from rules.model import Reading
from rules.room_state import RoomState
from tests.support.rooms import (
    BACK_PROBE,
    DOOR_PROBE,
    HUMIDITY_LOW,
    every_minute,
    limits,
    minute,
    moves,
    text_limit,
    unjudged,
)
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

# Below 80 % for 8 minutes; over when back at 83 % for 5 minutes.
ROOM = limits({HUMIDITY_LOW: text_limit(80)})
FINE, DRY = 90.0, 78.0
BACK = Hung(probe=BACK_PROBE, from_ms=minute(-60), to_ms=None)


def _door(until: float, *, since: float = -60) -> Hung:
    return Hung(probe=DOOR_PROBE, from_ms=minute(since), to_ms=minute(until))


def _judged(
    readings: Sequence[Reading], hung: Sequence[Hung], *moments: float
) -> tuple[RoomState, tuple[Event, ...]]:
    state = unjudged()
    events: tuple[Event, ...] = ()
    for moment in moments:
        state, new = evaluate_where_hung(
            state, schedule=[ROOM], readings=readings, until_ms=minute(moment), hung=hung
        )
        events = (*events, *new)
    return state, events


def test_a_probe_hangs_in_a_room_until_just_before_it_is_taken_out() -> None:
    again = Hung(probe=DOOR_PROBE, from_ms=minute(20), to_ms=None)
    hung = [BACK, _door(10), again]
    both = {DOOR_PROBE, BACK_PROBE}
    assert [hanging(hung, minute(m)) for m in (-61, 9.99, 10, 19.99, 20)] == [
        set(),
        both,
        {BACK_PROBE},
        {BACK_PROBE},
        both,
    ]


def test_what_a_probe_said_last_ends_with_its_being_taken_out() -> None:
    """A slow probe says 78 % and is carried out five minutes later: that is no eight minutes."""
    fine = every_minute([FINE] * 40, probe=BACK_PROBE)
    dry = every_minute([FINE, FINE, DRY], step=5)
    state, events = _judged([*fine, *dry], [BACK, _door(15)], 39)
    assert moves(events) == []
    assert {probe for probe, _ in state.held} == {BACK_PROBE}
    _, events = _judged([*fine, *dry], [BACK, _door(60)], 39)
    assert moves(events) == [("raised", 18)]


def test_an_alarm_does_not_stay_open_for_a_probe_that_was_taken_out() -> None:
    fine = every_minute([FINE] * 40, probe=BACK_PROBE)
    dry = every_minute([DRY] * 12)
    _, events = _judged([*fine, *dry], [BACK, _door(12)], 39)
    assert [(move, round(at)) for move, at in moves(events)] == [("raised", 8), ("cleared", 17)]


def test_a_probe_that_is_hung_up_again_speaks_again() -> None:
    dry = [*every_minute([DRY] * 5), *every_minute([DRY] * 20, start=20)]
    again = Hung(probe=DOOR_PROBE, from_ms=minute(20), to_ms=None)
    _, events = _judged(dry, [_door(5), again], 39)
    assert moves(events) == [("raised", 28)]


def test_late_readings_do_not_bring_back_a_probe_that_was_taken_out() -> None:
    """What it said was over when it was taken out, and is over when that hour is judged again."""
    hung = [BACK, _door(12)]
    fine = every_minute([FINE] * 60, probe=BACK_PROBE)
    dry = every_minute([DRY] * 12)
    state, told = _judged([*fine[:50], *dry], hung, 49)
    assert [move for move, _ in moves(told)] == ["raised", "cleared"]
    _, owed = judge_again(state, from_ms=minute(-1), schedule=[ROOM], readings=[*fine, *dry], hung=hung)
    assert owed == ()


@STEADY
@given(st.sets(st.integers(0, 59 * 60), max_size=12), st.integers(1, 59), st.integers(1, 5))
def test_portions_do_not_matter_to_when_a_probe_leaves(cuts: set[int], leaves: int, step: int) -> None:
    fine = every_minute([FINE] * 60, probe=BACK_PROBE)
    dry = every_minute(([FINE] * 4 + [DRY] * 9) * 4, step=step)
    dry = [reading for reading in dry if reading.at_ms < minute(leaves)]
    hung = [BACK, _door(leaves)]
    portions = [cut / 60 for cut in sorted(cuts)]
    assert all(before < after for before, after in pairwise(portions))
    assert _judged([*fine, *dry], hung, *portions, 60) == _judged([*fine, *dry], hung, 60)
