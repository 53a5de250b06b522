"""Sentences of the sheet: what is said of a time outside the band. Our own words, so no outside source."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from rules.model import Quantity, Side
from service.wording.sentences import (
    DipFacts,
    brief_line,
    dip_line,
    dip_sentences,
    listed,
    out_now,
    unheard_line,
)

pytestmark = pytest.mark.pure


def at(hour: int, minute: int) -> datetime:
    return datetime(2026, 11, 25, hour, minute, tzinfo=UTC)


DIP = DipFacts(
    quantity=Quantity.HUMIDITY,
    side=Side.LOW,
    start=at(2, 4),
    end=at(2, 51),
    last=at(2, 51),
    minutes=47,
    times=1,
    worst=78.0,
    worst_at=at(2, 35),
    place=None,
    edge=90.0,
    limit=85.0,
    past_start=at(2, 9),
    past_minutes=38,
    learned=None,
)


def test_a_dip_is_told_in_full() -> None:
    assert dip_sentences(DIP, "us") == [
        "02:04 to 02:51: humidity low for 47 min.",
        "Lowest 78% at 02:35; the band begins at 90%.",
        "Under the text limit of 85% for 38 min, from 02:09.",
    ]


def test_a_dip_that_goes_on_says_so() -> None:
    assert dip_sentences(replace(DIP, end=None), "us")[0] == (
        "02:04, and still low at 02:51: humidity low for 47 min so far."
    )
    assert dip_line(replace(DIP, end=None), "us") == "Humidity under 85% since 02:09, lowest 78%."


def test_a_dip_older_than_the_night_is_said_to_be_older() -> None:
    older = replace(DIP, end=None, past_start=DIP.start, minutes=47, past_minutes=47, began_before=True)

    assert dip_sentences(older, "us")[0] == (
        "Before 02:04, and still low at 02:51: humidity low for at least 47 min so far."
    )
    assert dip_sentences(older, "us")[2] == "Under the text limit of 85% for at least 47 min, from before 02:04."
    assert dip_line(older, "us") == "Humidity under 85% since before 02:04, lowest 78%."


def test_only_the_part_of_a_dip_that_is_older_is_said_to_be() -> None:
    older = replace(DIP, end=None, began_before=True)

    assert dip_sentences(older, "us")[2] == "Under the text limit of 85% for 38 min, from 02:09."
    assert dip_line(older, "us") == "Humidity under 85% since 02:09, lowest 78%."


def test_everything_known_is_said_once() -> None:
    full = replace(
        DIP,
        place="door end",
        times=3,
        learned=at(6, 12),
        normal=(Quantity.TEMPERATURE, Quantity.CO2),
        first_check="humidifier",
    )

    assert dip_sentences(full, "us") == [
        "02:04 to 02:51: humidity low for 47 min, in 3 spells.",
        "Lowest 78% at 02:35 at door end; the band begins at 90%.",
        "Under the text limit of 85% for 38 min, from 02:09.",
        "Learned late: these readings reached us at 06:12.",
        "Temperature and CO2 read normal.",
        "First check: humidifier.",
    ]


def test_a_dip_short_of_the_text_limit_is_told_against_the_band() -> None:
    mild = replace(DIP, worst=87.0, past_start=None, past_minutes=0)

    assert dip_sentences(mild, "us")[2] == "The text limit of 85% was not passed."
    assert dip_line(mild, "us") == "Humidity under 90% for 47 min from 02:04, lowest 87%."


def test_a_quantity_without_a_text_limit_says_nothing_of_one() -> None:
    assert len(dip_sentences(replace(DIP, limit=None, past_start=None), "us")) == 2


def test_high_is_over_and_ends_the_band_in_the_readers_units() -> None:
    warm = replace(DIP, quantity=Quantity.TEMPERATURE, side=Side.HIGH, worst=26.0, edge=21.0, limit=23.0)

    assert dip_sentences(warm, "us")[1] == "Highest 79 °F at 02:35; the band ends at 69.8 °F."
    assert dip_line(warm, "metric") == "Temperature over 23 °C for 38 min from 02:09, highest 26.0 °C."


def test_what_is_out_now_or_was_only_brief_or_is_not_heard() -> None:
    assert out_now(Quantity.CO2, 1480.0, Side.HIGH, 1000.0, "us") == "CO2 is 1,480 ppm, over 1,000 ppm."
    assert brief_line(Quantity.HUMIDITY, 1, 3) == "Humidity also touched the edge of its band once, 3 min in all."
    assert brief_line(Quantity.HUMIDITY, 9, 72).endswith("9 times, 1 h 12 in all.")
    assert unheard_line([Quantity.CO2]) == "Nothing is heard of CO2 now."


def test_quantities_stand_in_a_row() -> None:
    three = [Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2]

    assert [listed(three[:n]) for n in range(4)] == [
        "",
        "humidity",
        "humidity and temperature",
        "humidity, temperature and CO2",
    ]
