"""Limits suggested for the first days of a room. Rules of our own: each case is worked out by hand.

An ordinary probe is 2 points of humidity, half a degree, and 50 ppm plus 5 % of the reading good
(``rules.profile_limits``), so limits move in such steps.
"""

from __future__ import annotations

import pytest

from rules.history import History
from rules.limits import Hold, RoomLimits, Why, tenderest
from rules.model import Quantity
from rules.suggest import Suggestion, suggest
from tests.support.histories import as_history
from tests.support.rooms import (
    CO2_HIGH,
    HUMIDITY_LOW,
    START_MS,
    WARM,
    crop,
    every_minute,
    limits,
    minute,
    text_limit,
)

pytestmark = pytest.mark.pure

ROOM = limits({HUMIDITY_LOW: text_limit(85, wait=8, margin=3, recover=5, far=75, far_wait=2)})


def humidity(*runs: tuple[float, int]) -> list[History]:
    return as_history(every_minute(value for value, count in runs for _ in range(count)))


def suggested(history: list[History], *schedule: RoomLimits, until: float = 600) -> tuple[Suggestion, ...]:
    return suggest(history, schedule=schedule or (ROOM,), from_ms=START_MS - 1, until_ms=minute(until))


def test_days_without_a_text_suggest_nothing() -> None:
    assert suggested(humidity((92, 60), (84, 7), (92, 60))) == ()
    assert suggested([]) == ()


def test_the_nearest_limit_with_which_the_days_were_quiet() -> None:
    """Down to 82.5 for ten minutes, twice: 83 would still have texted, 81 would not."""
    course = humidity((92, 60), (82.5, 10), (92, 60), (82.5, 10), (92, 60))
    assert suggested(course) == (Suggestion(key=HUMIDITY_LOW, limit=85, times=2, suggested=81.0),)


def test_a_value_on_the_suggested_limit_is_not_beyond_it() -> None:
    assert suggested(humidity((92, 60), (83, 10), (92, 60))) == (
        Suggestion(key=HUMIDITY_LOW, limit=85, times=1, suggested=83.0),
    )


def test_never_as_far_as_the_far_limit() -> None:
    """Down to 76 for ten minutes: 77 texts, and 75 is where far begins."""
    assert suggested(humidity((92, 60), (76, 10), (92, 60))) == (
        Suggestion(key=HUMIDITY_LOW, limit=85, times=1, suggested=None),
    )


def test_far_out_for_a_short_time_is_not_made_quiet_by_any_limit() -> None:
    assert suggested(humidity((92, 60), (70, 3), (92, 60))) == (
        Suggestion(key=HUMIDITY_LOW, limit=85, times=1, suggested=None),
    )


def test_without_a_far_limit_a_few_steps_are_within_reason() -> None:
    """Half a degree to a step, at most five of them: 20.5 is the last one tried."""
    room = limits({WARM: text_limit(18, margin=0.5)})
    warm = every_minute([17.0] * 60 + [20.5] * 10 + [17.0] * 60, quantity=Quantity.TEMPERATURE)
    hot = every_minute([17.0] * 60 + [20.6] * 10 + [17.0] * 60, quantity=Quantity.TEMPERATURE)

    assert suggested(as_history(warm), room) == (Suggestion(key=WARM, limit=18, times=1, suggested=20.5),)
    assert suggested(as_history(hot), room) == (Suggestion(key=WARM, limit=18, times=1, suggested=None),)


def test_each_limit_is_looked_at_by_itself_and_in_order() -> None:
    room = limits({WARM: text_limit(18, margin=0.5), CO2_HIGH: text_limit(1000, margin=50)})
    readings = [
        *every_minute([17.0] * 60 + [18.4] * 10 + [17.0] * 60, quantity=Quantity.TEMPERATURE),
        *every_minute([800.0] * 60 + [1150.0] * 10 + [800.0] * 60, quantity=Quantity.CO2),
    ]
    assert suggested(as_history(readings), room) == (
        Suggestion(key=CO2_HIGH, limit=1000, times=1, suggested=1200.0),
        Suggestion(key=WARM, limit=18, times=1, suggested=18.5),
    )


def test_the_limit_that_holds_at_the_end_is_the_one_that_is_moved() -> None:
    """Until minute 200 the limit was 85, then 87; both are moved by the same steps."""
    later = limits({HUMIDITY_LOW: text_limit(87, wait=8, margin=3, recover=5)}, at=200)
    course = humidity((92, 60), (82.5, 10), (92, 200))
    assert suggested(course, ROOM, later) == (Suggestion(key=HUMIDITY_LOW, limit=87, times=1, suggested=83.0),)
    assert suggested(course, ROOM, later, until=100) == (
        Suggestion(key=HUMIDITY_LOW, limit=85, times=1, suggested=81.0),
    )


def test_a_limit_that_is_gone_at_the_end_is_not_suggested_anew() -> None:
    course = humidity((92, 60), (82.5, 10), (92, 200))
    assert suggested(course, ROOM, limits({}, at=200)) == ()
    assert suggested(course, limits({}, at=900)) == ()


def test_what_was_held_back_would_have_been_told() -> None:
    hold = Hold(why=Why.WORKING, from_ms=START_MS, until_ms=minute(600), who="Ines")
    grown = crop({HUMIDITY_LOW: text_limit(85, wait=8, margin=3, recover=5)})
    held = tenderest([grown], from_ms=0, holds={HUMIDITY_LOW: hold})
    assert [one.times for one in suggested(humidity((92, 60), (82.5, 10), (92, 60)), held)] == [1]


def test_where_no_probe_has_a_known_accuracy_there_are_no_steps() -> None:
    key = (Quantity.DOOR, HUMIDITY_LOW[1])
    room = limits({key: text_limit(0.5, margin=0.5)})
    door = every_minute([1.0] * 60 + [0.0] * 30, quantity=Quantity.DOOR)
    assert suggested(as_history(door), room) == (Suggestion(key=key, limit=0.5, times=1, suggested=None),)
