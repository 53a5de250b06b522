"""The facts that a text is made from. What they mean is the project's own; no outside source."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest

from rules.cause import Part
from rules.event import Change
from rules.limits import Key
from rules.model import Quantity, Side
from service.localtime import at_local, stage_day
from service.storage.rooms import COOLER
from service.watch.facts import back_facts, in_band, trend, trouble_facts, whole_minutes
from tests.support.happenings import CROP, event, place, room_limit
from tests.support.rooms import (
    BACK_PROBE,
    CO2_HIGH,
    DOOR_PROBE,
    HUMIDITY_LOW,
    WARM,
    band,
    crop,
    minute,
    text_limit,
)

pytestmark = pytest.mark.pure

RAISED, CLEARED = Change.RAISED, Change.CLEARED


def test_trouble_says_what_where_how_far_and_for_how_long() -> None:
    fallen = event(RAISED, 8, normal=(Quantity.TEMPERATURE,))
    assert trouble_facts(fallen, place(), room_limit()) == {
        "room": "House 1",
        "quantity": "humidity",
        "side": "low",
        "began_ms": minute(0),
        "at_ms": minute(8),
        "invented": True,
        "zone": "America/New_York",
        "species": "oyster",
        "stage": "fruiting",
        "stage_day": 1,
        "value": 78.0,
        "limit": 80,
        "far": False,
        "minutes": 8,
        "trend": "falling",
        "place": None,
        "normal": ["temperature"],
        "first_check": Part.HUMIDIFIER.value,
        "batch": "B1",
    }


def test_the_facts_can_be_kept_as_json_and_come_back_the_same() -> None:
    fallen = event(RAISED, 8, normal=(Quantity.TEMPERATURE,))
    for facts in (trouble_facts(fallen, place(), room_limit()), back_facts(event(CLEARED, 20), place(), None)):
        assert json.loads(json.dumps(facts)) == facts


@pytest.mark.parametrize(("value", "far"), [(69.9, True), (70.0, False), (None, False)])
def test_a_value_is_far_out_only_beyond_the_far_limit(value: float | None, *, far: bool) -> None:
    assert trouble_facts(event(RAISED, 8, value=value), place(), room_limit())["far"] is far


def test_without_a_far_limit_nothing_is_far_out() -> None:
    assert trouble_facts(event(RAISED, 8, WARM, value=60.0), place(), room_limit(WARM))["far"] is False


def test_a_pattern_that_separates_nothing_names_no_first_check() -> None:
    assert trouble_facts(event(RAISED, 8), place(), room_limit())["first_check"] is None


def test_a_cooler_holds_product_and_no_species_or_stage() -> None:
    facts = trouble_facts(event(RAISED, 8, WARM), place(kind=COOLER), room_limit(WARM))
    assert (facts["species"], facts["stage"], facts["stage_day"]) == ("", "", None)
    assert facts["first_check"] == Part.COOLER.value


def test_where_the_probe_hangs_is_said_only_where_there_is_another() -> None:
    two = replace(place(), probe_places={DOOR_PROBE: "by the door", BACK_PROBE: "at the back"})
    assert trouble_facts(event(RAISED, 8, probe=BACK_PROBE), two, room_limit())["place"] == "at the back"
    assert trouble_facts(event(RAISED, 8, probe=None), two, room_limit())["place"] is None


def test_back_says_how_bad_it_was_and_how_long() -> None:
    facts = back_facts(event(CLEARED, 45, began_ms=minute(0), value=88.0), place(), room_limit())
    assert {name: facts[name] for name in ("value", "worst", "limit", "minutes", "back_ms", "in_band")} == {
        "value": 88.0,
        "worst": 77.0,
        "limit": 80,
        "minutes": 40,
        "back_ms": minute(40),
        "in_band": True,
    }


def test_a_limit_that_is_gone_leaves_no_figure_behind() -> None:
    facts = back_facts(event(CLEARED, 20, began_ms=minute(0), back_ms=None), place(), None)
    assert (facts["limit"], facts["in_band"], facts["minutes"], facts["back_ms"]) == (None, None, 20, minute(20))


def test_the_first_calendar_day_of_a_stage_is_day_one_on_the_farm_s_clock() -> None:
    zone = "America/New_York"
    started = minute(0)  # one in the morning there
    assert stage_day(started, started, zone) == 1
    assert stage_day(started, minute(23 * 60 - 1), zone) == 1
    assert stage_day(started, minute(23 * 60), zone) == 2


def test_a_stage_counts_its_days_through_a_change_of_clocks() -> None:
    """European clocks change on 2026-10-25; that day has 25 hours (IANA time zone data)."""
    zone = "Europe/Berlin"
    days = [at_local(date(2026, 10, day), 0, zone) for day in (24, 25, 26)]
    assert [stage_day(days[0], at_ms, zone) for at_ms in days] == [1, 2, 3]
    assert [stage_day(days[0], at_ms - 1, zone) for at_ms in days[1:]] == [1, 2]


@pytest.mark.parametrize(("span_s", "minutes"), [(0, 0), (29, 0), (31, 1), (89, 1), (91, 2), (-5, 0)])
def test_a_duration_is_said_in_whole_minutes(span_s: int, minutes: int) -> None:
    assert whole_minutes(span_s * 1000) == minutes


@pytest.mark.parametrize(
    ("key", "first", "now", "said"),
    [
        (HUMIDITY_LOW, 79.0, 78.0, "falling"),
        (HUMIDITY_LOW, 79.0, 78.1, "steady"),
        (HUMIDITY_LOW, 78.0, 79.0, "rising"),
        (WARM, 24.5, 24.25, "steady"),
        (WARM, 24.5, 25.0, "rising"),
        (CO2_HIGH, 1600.0, 1649.0, "steady"),
        (CO2_HIGH, 1600.0, 1550.0, "falling"),
        (HUMIDITY_LOW, None, 78.0, None),
        (HUMIDITY_LOW, 78.0, None, None),
        ((Quantity.LIGHT, Side.LOW), 100.0, 5.0, None),
    ],
)
def test_a_trend_is_more_than_a_probe_wavers(key: Key, first: float | None, now: float | None, said: str) -> None:
    found = event(RAISED, 8, HUMIDITY_LOW, first_value=first, value=now)
    assert trend(replace(found, quantity=key[0], side=key[1])) == said


@pytest.mark.parametrize(
    ("low", "high", "value", "inside"),
    [
        (85, 95, 85.0, True),
        (85, 95, 84.9, False),
        (85, 95, 95.0, True),
        (85, 95, 95.1, False),
        (None, 95, 10.0, True),
        (85, None, 100.0, True),
        (85, 95, None, False),
    ],
)
def test_back_in_band_is_more_than_back_past_the_text_limit(
    low: float | None, high: float | None, value: float | None, *, inside: bool
) -> None:
    grown = crop({HUMIDITY_LOW: text_limit(80)}, bands={Quantity.HUMIDITY: band(low, high)})
    assert in_band(event(CLEARED, 20, value=value), room_limit(of=grown)) is inside


def test_where_a_stage_has_no_band_being_back_past_the_limit_is_enough() -> None:
    assert not CROP.stage.bands
    assert in_band(event(CLEARED, 20, value=84.0), room_limit())
    assert not in_band(event(CLEARED, 20, value=None), room_limit())
