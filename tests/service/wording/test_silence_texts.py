"""The texts about what is not heard, word for word."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from rules.model import Quantity, Side
from service.wording.language import LANGUAGES
from service.wording.reader import Answers, Reader
from service.wording.segments import segments
from service.wording.silence_texts import (
    SILENCE_IN,
    HeardFacts,
    LastHeard,
    SilenceFacts,
    heard_text,
    silence_text,
    time_in_text,
)
from tests.support.every_text.silence import EVERY

pytestmark = pytest.mark.pure

ENGLISH = Reader(units="us", language="en")
SPANISH = Reader(units="us", language="es")
ROOM = SilenceFacts(
    scope="room",
    name="House 7",
    rooms=("House 7",),
    since="01:10",
    quantities=(Quantity.HUMIDITY,),
    invented=False,
)
SITE = SilenceFacts(scope="site", name="site", rooms=("House 3", "House 4"), since="01:10", invented=False)
AGAIN = HeardFacts(
    scope="room", name="House 7", rooms=("House 7",), still=(), until="02:10", minutes=60, invented=False
)
NOW = datetime(2026, 11, 25, 3, 0, tzinfo=UTC)


def test_a_house_that_nothing_can_be_said_of() -> None:
    assert silence_text(ROOM, ENGLISH) == (
        "House 7: humidity not heard since 01:10, so we cannot say how it is."
        " Check probe and its power, then look at the house."
    )


def test_what_was_wrong_when_it_was_last_heard_is_said_with_it() -> None:
    last = LastHeard(quantity=Quantity.HUMIDITY, side=Side.LOW, value=81.4, limit=85.0, local_time="01:09")
    assert silence_text(replace(ROOM, last=last), ENGLISH) == (
        "House 7: humidity not heard since 01:10, so we cannot say how it is."
        " Last humidity 81%, under limit 85%, at 01:09."
    )
    within = replace(last, value=86.0)
    assert "was under limit 85%" in silence_text(replace(ROOM, last=within), ENGLISH)
    door = replace(last, quantity=Quantity.DOOR)
    assert "Last" not in silence_text(replace(ROOM, last=door), ENGLISH)


def test_the_whole_site_names_houses_and_where_to_look() -> None:
    assert silence_text(SITE, ENGLISH) == (
        "No readings from House 3, House 4 since 01:10, all at once: likely power or network, not climate."
        " Check power first, then network."
    )
    many = replace(SITE, rooms=tuple(f"House {n}" for n in range(1, 13)))
    assert "House 1, House 2, House 3, House 4 +8 since" in silence_text(many, ENGLISH)
    assert "Check power first" in silence_text(many, ENGLISH)


def test_an_answer_is_asked_for_where_one_can_come() -> None:
    reader = replace(ENGLISH, answers=Answers(reply_name="7"))
    assert silence_text(ROOM, reader).endswith("Reply 7 going or 7 cannot.")


def test_our_own_line_has_words_of_its_own() -> None:
    broker = replace(SITE, scope="broker", name="broker")
    assert silence_text(broker, ENGLISH) == (
        "Houseband does not hear its broker since 01:10: it hears no house."
        " Check power and network at the computer."
    )
    assert "no house is watched" in silence_text(replace(broker, by_http=True), ENGLISH)


def test_heard_again_says_that_and_no_more() -> None:
    assert heard_text(AGAIN, ENGLISH) == (
        "House 7 heard again since 02:10, after 1 h without readings. Look at what it shows now."
    )
    site = replace(AGAIN, scope="site", name="site", still=("House 7",))
    assert heard_text(site, ENGLISH) == (
        "Readings again since 02:10, after 1 h without. Still not heard: House 7."
    )


def test_a_time_that_is_not_todays_has_its_day() -> None:
    assert time_in_text(NOW.replace(hour=1, minute=10), NOW, "en") == "01:10"
    assert time_in_text(NOW.replace(day=24, hour=1), NOW, "en") == "Tue 01:00"
    assert time_in_text(NOW.replace(day=24, hour=1), NOW, "es") == "mar 01:00"
    assert time_in_text(NOW.replace(day=2), NOW, "es") == "2026-11-02 03:00"


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("kind", EVERY)
def test_every_text_is_one_segment(kind: str, language: str) -> None:
    for text in EVERY[kind]("es" if language == "es" else "en"):
        assert (segments(text).encoding, segments(text).count) == ("GSM-7", 1), text


def test_both_languages_know_every_scope() -> None:
    for name in ("silent", "first", "heard"):
        assert getattr(SILENCE_IN["en"], name).keys() == getattr(SILENCE_IN["es"], name).keys()
    assert silence_text(ROOM, SPANISH).startswith("House 7: sin lecturas de humedad desde 01:10")
