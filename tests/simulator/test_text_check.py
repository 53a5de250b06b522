"""The demo's own reading of the text that came."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import pytest

from simulator.text_check import Expected, complaints, septets

pytestmark = pytest.mark.pure

EXPECTED: Final = Expected(
    room="House 1",
    crop="shiitake",
    stages=("pinning", "pins"),
    limit=85.0,
    wait_minutes=8.0,
    lasted_minutes=8.6,
    answer="1 going",
    note="invented data",
)
GOOD: Final = (
    "House 1 shiitake, pins day 2: humidity 79%, under limit 85% for 8 min, falling. Reply 1 going. Invented data."
)


def test_a_good_text_has_nothing_wrong_with_it() -> None:
    assert complaints(GOOD, EXPECTED) == []


@pytest.mark.parametrize(
    ("before", "after", "complaint"),
    [
        ("House 1", "House 2", "the room, House 1"),
        ("shiitake", "nameko", "the crop, shiitake"),
        ("pins", "rest", "the stage, pinning or pins"),
        (" Reply 1 going.", " Reply going.", "that '1 going' answers it"),
        (" Invented data.", "", "invented data"),
        ("humidity 79%", "humidity", "no humidity"),
        ("humidity 79%", "humidity 85%", "not under the limit"),
        ("limit 85%", "limit", "no limit"),
        ("limit 85%", "limit 80%", "its limit is 80 and the house's 85"),
        (" for 8 min", "", "for how long"),
        ("8 min", "6 min", "it says 6 min; the wait is 8"),
        ("8 min", "10 min", "the readings were under for 8.6"),
        ("8 min", "1 h 08", "it says 68 min"),
        ("79%", "79 °C", "outside the basic alphabet"),
        ("falling", "falling" + " and falling" * 7, "of 160 septets"),
    ],
)
def test_each_thing_that_is_missing_or_wrong_is_named(before: str, after: str, complaint: str) -> None:
    assert complaint in "; ".join(complaints(GOOD.replace(before, after), EXPECTED))


@pytest.mark.parametrize(("spelling", "minutes"), [("47 min", 47.0), ("1 h", 60.0), ("1 h 10", 70.0)])
def test_lengths_of_time_are_read_in_minutes_and_hours(spelling: str, minutes: float) -> None:
    text = GOOD.replace("8 min", spelling)
    assert complaints(text, replace(EXPECTED, wait_minutes=minutes, lasted_minutes=minutes)) == []


# 3GPP TS 23.038 section 6.2.1: the basic alphabet, and its extension table at two septets a character.
@pytest.mark.parametrize(
    ("text", "length"), [("", 0), ("House", 5), ("@£Ñ", 3), ("{}", 4), ("5 €", 4), ("20 °C", None), ("ç", None)]
)
def test_length_is_counted_as_a_phone_network_counts(text: str, length: int | None) -> None:
    assert septets(text) == length


def test_the_basic_alphabet_has_its_127_characters_besides_the_escape() -> None:
    # 3GPP TS 23.038 section 6.2.1: 128 places, one of them the escape to the extension table.
    assert sum(septets(chr(code)) == 1 for code in range(0x10000)) == 127
