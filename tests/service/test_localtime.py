"""The farm's clock against zoneinfo with the IANA rules, and the moments that have no hour.

Rows of ``tests/reference/night_windows.csv`` were computed with zoneinfo and tzdata 2026.6 (IANA 2026f); each row
names that source. Older zone data, such as a machine may have of its own, gives other answers for some zones, so
these rows also show that the data of the package is used.
"""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from rules.model import HOUR_MS, SECOND_MS, Instant
from service.errors import NotUnderstood
from service.localtime import (
    at_local,
    instant,
    local,
    local_date,
    night_before,
    night_of,
    zone_data_version,
    zone_exists,
)

pytestmark = pytest.mark.pure

REFERENCE = Path(__file__).parents[1] / "reference" / "night_windows.csv"
ROWS = list(csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines()))
EVENING, MORNING = 20 * 60, 6 * 60


def _of_kind(start: str) -> list[dict[str, str]]:
    return [row for row in ROWS if row["kind"].startswith(start)]


def _utc(text: str) -> Instant:
    return instant(datetime.fromisoformat(text))


def _check(row: dict[str, str], start_ms: Instant, end_ms: Instant) -> None:
    found = {"start_utc": start_ms, "end_utc": end_ms, "length": (end_ms - start_ms) // SECOND_MS}
    what = next(name for name in found if row["kind"].endswith(name))
    expected = int(row["expected"]) if what == "length" else _utc(row["expected"])
    assert found[what] == expected, row["source"]


def _day(row: dict[str, str], column: str) -> date:
    return datetime.fromisoformat(row[column]).date()


def _ids(rows: list[dict[str, str]]) -> list[str]:
    return [f"{row['id']}-{row['tz']}" for row in rows]


def test_the_reference_file_is_whole() -> None:
    assert len(ROWS) == 73
    assert len(_of_kind("night_20_to_06")) + len(_of_kind("local_day")) + len(_of_kind("utc_to_local")) == 73


@pytest.mark.parametrize("row", _of_kind("night_20_to_06"), ids=_ids(_of_kind("night_20_to_06")))
def test_a_night_runs_from_round_to_round_on_the_farm_s_clock(row: dict[str, str]) -> None:
    night = night_of(_day(row, "local_start"), row["tz"], evening_minute=EVENING, morning_minute=MORNING)
    _check(row, *night)
    start_ms, end_ms = night
    for asked_ms in (start_ms, end_ms, end_ms + 3 * HOUR_MS):
        assert night_before(asked_ms, row["tz"], evening_minute=EVENING, morning_minute=MORNING) == night


@pytest.mark.parametrize("row", _of_kind("local_day"), ids=_ids(_of_kind("local_day")))
def test_a_day_begins_and_ends_when_the_farm_s_clock_says_so(row: dict[str, str]) -> None:
    start_ms, end_ms = (at_local(_day(row, column), 0, row["tz"]) for column in ("local_start", "local_end"))
    _check(row, start_ms, end_ms)


@pytest.mark.parametrize("row", _of_kind("utc_to_local"), ids=_ids(_of_kind("utc_to_local")))
def test_an_instant_is_shown_as_the_farm_s_clock_shows_it(row: dict[str, str]) -> None:
    at_ms = _utc(row["local_start"])
    assert local(at_ms, row["tz"]).isoformat() == row["expected"], row["source"]
    assert local_date(at_ms, row["tz"]) == datetime.fromisoformat(row["expected"]).date()
    assert instant(local(at_ms, row["tz"])) == at_ms


def test_just_before_the_evening_round_the_last_night_is_still_the_one_before() -> None:
    evening_ms = at_local(date(2026, 11, 25), EVENING, "Europe/Berlin")
    before, after = (
        night_before(at_ms, "Europe/Berlin", evening_minute=EVENING, morning_minute=MORNING)
        for at_ms in (evening_ms - 1, evening_ms)
    )
    assert before == night_of(date(2026, 11, 24), "Europe/Berlin", evening_minute=EVENING, morning_minute=MORNING)
    assert after[0] == evening_ms


def test_a_night_that_has_begun_goes_on_after_midnight() -> None:
    small_hours_ms = _utc("2026-11-25T02:00:00+01:00")
    night = night_before(small_hours_ms, "Europe/Berlin", evening_minute=EVENING, morning_minute=MORNING)
    assert night == (_utc("2026-11-24T20:00:00+01:00"), _utc("2026-11-25T06:00:00+01:00"))


def test_of_an_hour_that_comes_twice_the_first_is_meant() -> None:
    """EU clocks go back from 03:00 to 02:00 on the last Sunday of October (Directive 2000/84/EC)."""
    assert at_local(date(2026, 10, 25), 150, "Europe/Berlin") == _utc("2026-10-25T02:30:00+02:00")


def test_a_naive_time_is_no_moment() -> None:
    with pytest.raises(NotUnderstood, match="needs its offset"):
        instant(datetime(2026, 11, 25, 6))  # noqa: DTZ001 - this is what must be refused


def test_an_offset_is_enough_to_be_a_moment() -> None:
    there = datetime(2026, 11, 25, 6, tzinfo=timezone(timedelta(hours=-5)))
    assert instant(there) == instant(datetime(2026, 11, 25, 11, tzinfo=UTC)) == _utc("2026-11-25T11:00:00Z")


@pytest.mark.parametrize("zone", ["UTC", "Europe/Berlin", "America/Argentina/Buenos_Aires", "Asia/Kathmandu"])
def test_a_zone_of_the_world_is_known(zone: str) -> None:
    assert zone_exists(zone)


@pytest.mark.parametrize(
    "zone", ["", "Nowhere/Land", "../etc/passwd", "/etc/localtime", "Europe", "a\0b", "A" * 300]
)
def test_anything_else_is_no_zone_and_no_crash(zone: str) -> None:
    assert not zone_exists(zone)


def test_the_edition_of_the_zone_rules_is_shown() -> None:
    year, _, release = zone_data_version().partition(".")
    assert int(year) >= 2026
    assert release
