"""What is said of limits for people fits a text, names what matters, and never says that all is well."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Final

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from service.wording.people_texts import (
    ENGLISH_PEOPLE,
    DangerFacts,
    LimitPassed,
    UnderFacts,
    WentIn,
    danger_text,
    passed_line,
    under_text,
)
from service.wording.reader import Answers, Reader
from service.wording.segments import ONE_SEGMENT, is_gsm7, segments

pytestmark = pytest.mark.pure

READER: Final = Reader(units="metric", language="en")
STEL: Final = DangerFacts(
    room="House 7",
    level="15 minutes",
    value_ppm=31_666.7,
    at_least=False,
    limit_ppm=30_000,
    somebody_inside=False,
    invented=False,
)
UNDER: Final = UnderFacts(room="House 7", value_ppm=850.2, at_least=False, local_time="03:40", invented=False)
# Words that promise what a reading cannot (no source: a rule of this house).
NEVER: Final = re.compile(r"\b(ok|okay|all clear|safe|safely|fine)\b", re.IGNORECASE)

# The longest name, one as short as they come, and no answer at all.
ANSWERS = st.none() | st.sampled_from(("M" * 12, "7")).map(lambda name: Answers(reply_name=name))
DANGERS = st.builds(
    DangerFacts,
    room=st.text(max_size=30),
    level=st.sampled_from(sorted(ENGLISH_PEOPLE.by)),
    value_ppm=st.floats(0, 210_000),
    at_least=st.booleans(),
    limit_ppm=st.floats(600, 40_000),
    somebody_inside=st.booleans(),
    invented=st.booleans(),
)


def test_danger_names_room_figure_limit_and_what_to_do() -> None:
    assert danger_text(STEL, READER) == (
        "House 7: DANGER to people. CO2 31667 ppm, 15 min average, limit 30000. Room average, not exposure."
        " Do not go in alone. Air out from outside, meter at the door."
    )


def test_whoever_can_answer_is_told_how() -> None:
    text = danger_text(STEL, replace(READER, answers=Answers(reply_name="7")))
    assert " meter at the door. Reply 7 going or 7 cannot." in text


def test_the_next_person_is_told_who_went_in() -> None:
    went = WentIn(person="Maria", local_time="02:10")
    text = danger_text(replace(STEL, somebody_inside=True), READER, went)
    assert " Maria went at 02:10. Do not go in alone. Air out from outside, meter at the door." in text
    assert "Come out" not in text


def test_the_average_of_a_day_and_a_probe_at_its_top_are_said_as_what_they_are() -> None:
    day = danger_text(replace(STEL, level="8 hours", value_ppm=5250, limit_ppm=5000, at_least=True), READER)
    assert day.startswith("House 7: DANGER to people. CO2 at least 5250 ppm, 8 h average, limit 5000. ")
    top = danger_text(replace(STEL, level="at the top", value_ppm=10_000, at_least=True), READER)
    assert top.startswith("House 7: DANGER to people. CO2 at least 10000 ppm, may be over limit 30000. ")
    now = danger_text(replace(STEL, level="ceiling", value_ppm=9000.2, limit_ppm=9000), READER)
    assert " CO2 9001 ppm, limit 9000. " in now


def test_whoever_is_inside_is_told_to_come_out() -> None:
    assert " Come out. " in danger_text(replace(STEL, somebody_inside=True), READER)
    assert "Come out" not in danger_text(STEL, READER)


def test_invented_data_is_marked_at_the_end() -> None:
    assert danger_text(replace(STEL, invented=True), READER).endswith(" Invented data.")
    assert under_text(replace(UNDER, invented=True), READER).endswith(" Invented data.")


def test_the_end_says_since_when_and_to_measure_at_the_door() -> None:
    assert under_text(UNDER, READER) == (
        "House 7: CO2 850 ppm, under the people limit since 03:40."
        " Measure with a meter at the door before anyone goes in."
    )
    assert "CO2 at least 5000 ppm" in under_text(replace(UNDER, value_ppm=5000, at_least=True), READER)


LONGEST: Final = DangerFacts(
    room="M" * 12,
    level="at the top",
    value_ppm=210_000,
    at_least=True,
    limit_ppm=40_000,
    somebody_inside=True,
    invented=True,
)


@given(DANGERS, ANSWERS)
@example(LONGEST, Answers(reply_name="M" * 12))
def test_every_text_of_danger_is_one_segment_and_keeps_what_matters(
    facts: DangerFacts, answers: Answers | None
) -> None:
    text = danger_text(facts, replace(READER, answers=answers))
    assert is_gsm7(text)
    assert segments(text).units <= ONE_SEGMENT
    for kept in (": DANGER", "CO2 ", "Do not go in alone.", "Air out", "meter at", f" {facts.limit_ppm:.0f}."):
        assert kept in text
    assert ("Come out." in text) == facts.somebody_inside
    assert ("at least " in text) == facts.at_least
    assert ("going or" in text) == (answers is not None)
    assert not NEVER.search(text.partition(": DANGER")[2])


@given(
    st.builds(
        UnderFacts,
        room=st.text(max_size=30),
        value_ppm=st.floats(0, 1e9),
        at_least=st.booleans(),
        local_time=st.just("23:59"),
        invented=st.booleans(),
    )
)
def test_every_end_is_one_segment_and_promises_nothing(facts: UnderFacts) -> None:
    text = under_text(facts, READER)
    assert is_gsm7(text)
    assert segments(text).units <= ONE_SEGMENT
    assert "meter at the door" in text
    assert not NEVER.search(text.partition(": CO2")[2])


def test_pages_say_the_figure_its_limit_and_how_much_is_known() -> None:
    passed = LimitPassed(level="8 hours", value_ppm=5250, at_least=True, limit_ppm=5000, coverage=0.919)
    assert passed_line(passed) == (
        "CO2 is over the limit for people: at least 5,250 ppm on average over 8 h, limit 5,000 ppm."
        " Known for 91% of the time; the rest was counted as nothing. A room average, not a person's exposure."
    )
    top = LimitPassed(level="at the top", value_ppm=10_000, at_least=True, limit_ppm=30_000, coverage=1.0)
    assert passed_line(top) == (
        "CO2 is at least 10,000 ppm, and may be over the limit for people of 30,000 ppm:"
        " the probe reads no higher. A room average, not a person's exposure."
    )
