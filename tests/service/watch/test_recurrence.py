"""Recurrence rules of RFC 5545: published rows, what is refused, and how much work a rule may ask for.

Rows of ``tests/reference/rota_recurrence.csv`` name their source. Other rules are compared with python-dateutil
walking from the very first turn, which is what our shorter walk must equal.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from time import process_time
from typing import Any

import pytest
from dateutil.rrule import rrulestr

from rules.model import Instant
from service.errors import NotUnderstood
from service.localtime import instant, of_wall
from service.watch.recurrence import read_rule
from service.watch.turns import check_turn
from tests.support.reference import Row, rows_of

pytestmark = pytest.mark.pure

ROWS = rows_of("rota_recurrence.csv")
EXPANDED = [row for row in ROWS if row["quantity"] == "rrule_expand_utc"]
RESOLVED = [row for row in ROWS if row["quantity"] == "ical_local_time_rule"]
FIRST = datetime(2016, 1, 31, 20, 0)  # noqa: DTZ001 - a wall time


def _utc(at_ms: Instant) -> str:
    return datetime.fromtimestamp(at_ms / 1000, UTC).isoformat().replace("+00:00", "Z")


@pytest.mark.parametrize("row", EXPANDED, ids=lambda row: row["id"])
def test_turns_begin_at_the_published_moments(row: Row) -> None:
    asked: dict[str, Any] = json.loads(row["inputs"])
    first = datetime.fromisoformat(asked["dtstart_local"])
    begins = read_rule(asked["rrule"], first).begins(first - timedelta(seconds=1), first + timedelta(days=366))
    found = [_utc(of_wall(moment, asked["tzid"])) for moment in begins[: asked["first"]]]
    assert found == json.loads(row["expected"]), row["source"]


@pytest.mark.parametrize("row", RESOLVED, ids=lambda row: row["id"])
def test_a_time_in_a_gap_or_shown_twice_is_read_as_published(row: Row) -> None:
    asked = json.loads(row["inputs"])
    found = of_wall(datetime.fromisoformat(asked["local"]), asked["tzid"])
    assert found == instant(datetime.fromisoformat(row["expected"])), row["source"]


@pytest.mark.parametrize(
    "text",
    [
        "FREQ=DAILY",
        "FREQ=DAILY;INTERVAL=3",
        "FREQ=DAILY;INTERVAL=2;BYDAY=MO,TU",
        "FREQ=WEEKLY",
        "FREQ=WEEKLY;INTERVAL=2",
        "FREQ=WEEKLY;INTERVAL=3;BYDAY=TU,SU;WKST=SU",
        "FREQ=WEEKLY;INTERVAL=3;BYDAY=TU,SU;WKST=MO",
        "FREQ=MONTHLY",
        "FREQ=MONTHLY;INTERVAL=5;BYDAY=-1FR",
        "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1",
        "FREQ=YEARLY",
        "FREQ=YEARLY;BYMONTH=3,8",
        "FREQ=YEARLY;INTERVAL=2;BYYEARDAY=1,-1",
        "FREQ=YEARLY;BYWEEKNO=1,53;BYDAY=MO",
        "FREQ=YEARLY;BYDAY=20MO",
        "FREQ=DAILY;COUNT=400",
        "FREQ=WEEKLY;UNTIL=20170301T200000",
    ],
)
def test_walking_from_a_later_day_finds_the_same_turns(text: str) -> None:
    rule = read_rule(text, FIRST)
    whole = list(rrulestr(text, dtstart=FIRST).between(FIRST - timedelta(days=1), FIRST + timedelta(days=3600)))
    for days in (-5, 0, 29, 365, 801, 1462, 3001):
        after = FIRST + timedelta(days=days, hours=1)
        until = after + timedelta(days=430)
        last = FIRST + timedelta(days=3600)
        assert rule.begins(after, min(until, last)) == [t for t in whole if after < t <= until]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("FREQ=SECONDLY", "begins with FREQ"),
        ("FREQ=HOURLY", "begins with FREQ"),
        ("BYDAY=MO", "begins with FREQ"),
        ("FREQ=DAILY;INTERVAL=0", "INTERVAL is a whole number"),
        ("FREQ=DAILY;INTERVAL=-1", "INTERVAL is a whole number"),
        ("FREQ=DAILY;INTERVAL=\u0661", "INTERVAL is a whole number"),
        ("FREQ=DAILY;BYHOUR=1,2,3", "not a part of a rule for turns"),
        ("FREQ=DAILY;BYEASTER=0", "not a part of a rule for turns"),
        ("FREQ=DAILY\nDTSTART:20200101T000000", "begins with FREQ"),
        ("FREQ=DAILY;COUNT=100000", "COUNT is a whole number"),
        ("FREQ=YEARLY;COUNT=50", "does not come to 50 turns"),
        ("FREQ=DAILY;COUNT=2;UNTIL=20270101", "either COUNT or UNTIL"),
        ("FREQ=DAILY;FREQ=DAILY", "twice"),
        ("FREQ=MONTHLY;BYMONTH=2;BYMONTHDAY=31", "gives no turn"),
        ("FREQ=WEEKLY;UNTIL=20150101", "gives no turn"),
        ("FREQ=DAILY;UNTIL=20270101T000000Z", "UNTIL is a day"),
        ("FREQ=DAILY;UNTIL=20270231", "does not exist"),
        ("FREQ=WEEKLY;BYDAY=2MO", "for a month or a year"),
        ("FREQ=WEEKLY;BYDAY=XX", "BYDAY lists days"),
        ("FREQ=WEEKLY;BYMONTHDAY=3", "cannot stand"),
        ("FREQ=DAILY;BYMONTHDAY=0", "counts from 1"),
        ("FREQ=DAILY;BYMONTHDAY=32", "whole number"),
        ("FREQ=DAILY;BYSETPOS=1", "cannot stand"),
        ("FREQ=DAILY;" * 30, "at most 200 characters"),
        ("every day", "not a part of a rule"),
    ],
)
def test_a_rule_that_no_rota_can_have_is_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(NotUnderstood, match=says):
        read_rule(text, FIRST)


def test_a_rule_until_a_day_holds_all_that_day() -> None:
    rule = read_rule("FREQ=DAILY;UNTIL=20160202", FIRST)
    assert [moment.day for moment in rule.begins(FIRST - timedelta(days=1), FIRST + timedelta(days=9))] == [
        31,
        1,
        2,
    ]


def test_a_turn_without_a_rule_comes_once() -> None:
    rule = read_rule("", FIRST)
    assert rule.begins(FIRST - timedelta(days=9), FIRST + timedelta(days=999)) == [FIRST]


@pytest.mark.parametrize(
    "text", ["FREQ=DAILY", "FREQ=WEEKLY;BYDAY=MO,TH", "FREQ=MONTHLY;BYDAY=-1FR", "FREQ=YEARLY"]
)
def test_a_rule_that_began_five_hundred_years_ago_is_quick(text: str) -> None:
    """Its whole walk takes seconds; ours must not grow with the years."""
    rule = read_rule(text, datetime(1970, 1, 30, 20, 0))  # noqa: DTZ001 - a wall time
    began = process_time()
    day = datetime(2470, 1, 1)  # noqa: DTZ001 - a wall time
    assert rule.begins(day, day + timedelta(days=366))
    assert process_time() - began < 0.2


@pytest.mark.parametrize(
    "starts", ["2026-10-26", "2026-10-26T20:00:00-04:00", "2026-13-01T20:00", "0001-01-01T00:00"]
)
def test_a_turn_begins_at_a_time_on_the_wall(starts: str) -> None:
    with pytest.raises(NotUnderstood, match="a turn begins"):
        check_turn(starts, 720, "FREQ=DAILY")


@pytest.mark.parametrize("minutes", [0, -5, 14, 31 * 1440 + 1])
def test_a_turn_has_a_length_that_people_have(minutes: int) -> None:
    with pytest.raises(NotUnderstood, match="a turn takes"):
        check_turn("2026-10-26T20:00", minutes, "FREQ=DAILY")
