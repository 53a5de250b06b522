"""The Friday page's week, by the farm's calendar; clock changes are those of the tz database."""

from __future__ import annotations

from datetime import date

import pytest

from rules.model import DAY_MS, HOUR_MS
from service.localtime import at_local
from service.reports.week import week_named, week_of

pytestmark = pytest.mark.pure

ONE = 13 * 60
NEW_YORK = {"zone": "America/New_York"}


@pytest.mark.parametrize(
    ("day", "minute", "friday"),
    [
        (date(2026, 11, 25), 600, date(2026, 11, 20)),
        (date(2026, 11, 27), ONE - 1, date(2026, 11, 20)),
        (date(2026, 11, 27), ONE, date(2026, 11, 27)),
        (date(2026, 11, 28), 0, date(2026, 11, 27)),
    ],
)
def test_the_week_that_ended_last_ends_at_its_minute(day: date, minute: int, friday: date) -> None:
    week = week_of(NEW_YORK, at_local(day, minute, "America/New_York"), minute=ONE)

    assert (week.friday, week.is_running) == (friday, False)


@pytest.mark.parametrize(("friday", "hours"), [(date(2026, 11, 6), 169), (date(2026, 3, 13), 167)])
def test_a_week_in_which_clocks_change_is_an_hour_longer_or_shorter(friday: date, hours: int) -> None:
    week = week_of(NEW_YORK, at_local(friday, ONE, "America/New_York"), minute=ONE)

    assert week.to_ms - week.from_ms == hours * HOUR_MS


def test_a_week_is_named_by_its_friday_and_may_be_running() -> None:
    now_ms = at_local(date(2026, 11, 25), 600, "America/New_York")

    running = week_named(NEW_YORK, date(2026, 11, 27), now_ms, minute=ONE)

    assert running is not None
    assert running.is_running
    assert running.to_ms - running.from_ms == 7 * DAY_MS
    assert week_named(NEW_YORK, date(2026, 11, 26), now_ms, minute=ONE) is None
    assert week_named(NEW_YORK, date(2026, 12, 4), now_ms, minute=ONE) is None
    assert week_named(NEW_YORK, date(1, 1, 5), now_ms, minute=ONE) is None
