"""Which night is meant, and how long it is when clocks change (America/New_York: 1 Nov and 8 Mar 2026).

The moments of change are those of the tz database (Energy Policy Act of 2005: first Sunday of November, second
Sunday of March, at 2:00 local time).
"""

from __future__ import annotations

from datetime import date
from typing import Any, Final

import pytest

from rules.model import HOUR_MS, MINUTE_MS
from service.localtime import at_local, local
from service.reports.span import Span, hours, last_ended_span, newest_span, night_span

pytestmark = pytest.mark.pure

ZONE: Final = "America/New_York"
FARM: Final[dict[str, Any]] = {"zone": ZONE, "evening_round_minute": 18 * 60, "morning_round_minute": 6 * 60}


def moment(day: date, hour: int, minute: int = 0) -> int:
    return at_local(day, 60 * hour + minute, ZONE)


def night(evening: date, now_ms: int) -> Span:
    found = night_span(FARM, evening, now_ms)
    assert found is not None
    return found


def test_by_day_it_is_last_night_and_the_day_since() -> None:
    span = newest_span(FARM, moment(date(2026, 11, 25), 14, 20))

    assert (span.evening, span.is_running) == (date(2026, 11, 24), False)
    assert span.to_ms == span.now_ms


def test_after_the_evening_round_it_is_tonight_so_far() -> None:
    span = newest_span(FARM, moment(date(2026, 11, 25), 18, 5))

    assert (span.evening, span.is_running) == (date(2026, 11, 25), True)
    assert span.to_ms - span.from_ms == 5 * MINUTE_MS


def test_at_the_very_minute_of_the_evening_round_the_night_has_a_length() -> None:
    span = newest_span(FARM, moment(date(2026, 11, 25), 18))

    assert span.to_ms > span.from_ms


def test_a_night_of_the_past_ends_with_its_morning_round() -> None:
    span = night(date(2026, 11, 20), moment(date(2026, 11, 25), 7))

    assert span.to_ms == span.morning_ms == moment(date(2026, 11, 21), 6)
    assert not span.reaches_now


def test_a_night_that_has_not_begun_is_none() -> None:
    assert night_span(FARM, date(2026, 11, 25), moment(date(2026, 11, 25), 17, 59)) is None


@pytest.mark.parametrize("evening", [date(1, 1, 1), date(1969, 12, 30), date(9999, 12, 31)])
def test_a_night_beyond_reach_is_none(evening: date) -> None:
    assert night_span(FARM, evening, moment(date(2026, 11, 25), 7)) is None


def test_what_ended_last_is_told_in_the_morning_and_still_in_the_evening() -> None:
    assert last_ended_span(FARM, moment(date(2026, 11, 25), 6)).evening == date(2026, 11, 24)
    assert last_ended_span(FARM, moment(date(2026, 11, 25), 23)).evening == date(2026, 11, 24)


@pytest.mark.parametrize(
    ("evening", "length_h"),
    [(date(2026, 10, 31), 13), (date(2026, 3, 7), 11), (date(2026, 6, 1), 12)],
)
def test_a_night_is_as_long_as_the_clock_makes_it(evening: date, length_h: int) -> None:
    span = night(evening, moment(date(2026, 12, 24), 12))

    assert span.morning_ms - span.from_ms == length_h * HOUR_MS


def test_the_hours_under_a_chart_are_those_the_clock_shows() -> None:
    autumn = night(date(2026, 10, 31), moment(date(2026, 12, 24), 12))
    spring = night(date(2026, 3, 7), moment(date(2026, 12, 24), 12))

    assert [local(at, ZONE).hour for at in hours(FARM, autumn)][6:10] == [0, 1, 1, 2]
    assert [local(at, ZONE).hour for at in hours(FARM, spring)][6:10] == [0, 1, 3, 4]
