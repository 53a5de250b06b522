"""When each digest is due. Clock changes of 2026 as the tz database has them.

New York: 8 March and 1 November at 2:00. Berlin: 29 March at 2:00 and 25 October at 3:00 of the farm's clock.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS
from service.localtime import at_local, local
from service.notifications.digest_due import friday_due, morning_due

pytestmark = pytest.mark.pure

NEW_YORK, BERLIN = "America/New_York", "Europe/Berlin"
CHANGES = [
    (NEW_YORK, date(2026, 3, 8)),
    (NEW_YORK, date(2026, 11, 1)),
    (BERLIN, date(2026, 3, 29)),
    (BERLIN, date(2026, 10, 25)),
]


def farm(zone: str, minute: int) -> dict[str, object]:
    return {"zone": zone, "morning_round_minute": minute}


@pytest.mark.parametrize("minute", [90, 120, 150, 179, 360])
@pytest.mark.parametrize(("zone", "day"), CHANGES)
def test_on_a_day_on_which_clocks_change_a_morning_comes_once(zone: str, day: date, minute: int) -> None:
    """Every minute from the day before to the day after: one unbroken time for each date, never none."""
    start_ms = at_local(day - timedelta(days=1), 0, zone)
    on: dict[str, list[int]] = {}
    for now_ms in range(start_ms, start_ms + 3 * DAY_MS, 5 * MINUTE_MS):
        due = morning_due(farm(zone, minute), now_ms)
        if due.is_on(now_ms):
            on.setdefault(due.date, []).append(now_ms)

    assert day.isoformat() in on
    for times in on.values():
        assert times == list(range(times[0], times[-1] + 1, 5 * MINUTE_MS))


@pytest.mark.parametrize(("zone", "day"), CHANGES)
def test_six_in_the_morning_is_six_by_the_farms_clock(zone: str, day: date) -> None:
    due = morning_due(farm(zone, 360), at_local(day, 480, zone))

    assert (local(due.from_ms, zone).hour, local(due.until_ms, zone).hour) == (6, 12)
    assert due.until_ms - due.from_ms == 6 * HOUR_MS


def test_a_round_at_a_minute_that_is_left_out_comes_an_hour_later_that_day() -> None:
    due = morning_due(farm(NEW_YORK, 150), at_local(date(2026, 3, 8), 600, NEW_YORK))

    assert f"{local(due.from_ms, NEW_YORK):%d %H:%M}" == "08 03:30"


def test_a_round_at_a_minute_that_comes_twice_comes_the_first_time() -> None:
    due = morning_due(farm(BERLIN, 150), at_local(date(2026, 10, 25), 600, BERLIN))

    assert f"{local(due.from_ms, BERLIN):%d %H:%M %z}" == "25 02:30 +0200"


@pytest.mark.parametrize(
    ("day", "minute", "date_", "is_on"),
    [
        (date(2026, 11, 26), 1439, "2026-11-20", False),
        (date(2026, 11, 27), 779, "2026-11-27", False),
        (date(2026, 11, 27), 780, "2026-11-27", True),
        (date(2026, 11, 29), 779, "2026-11-27", True),
        (date(2026, 11, 29), 780, "2026-11-27", False),
        (date(2026, 12, 3), 780, "2026-11-27", False),
    ],
)
def test_friday_is_due_from_its_minute_for_two_days(day: date, minute: int, date_: str, *, is_on: bool) -> None:
    now_ms = at_local(day, minute, NEW_YORK)
    due = friday_due(farm(NEW_YORK, 360), now_ms, minute=780)

    assert (due.date, due.is_on(now_ms)) == (date_, is_on)
