from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import asdict, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model import CONTACTS, Quantity, Side
from service.wording.format import duration, limit_in_text, value_in_text
from service.wording.language import LANGUAGES, Language
from service.wording.phrases import ENGLISH, PHRASES_IN, SPANISH, Phrases
from service.wording.reader import Answers, Reader
from service.wording.segments import is_gsm7, segments
from service.wording.texts import (
    STAGE_SEPTETS,
    AlarmFacts,
    BackFacts,
    Went,
    alarm_text,
    back_text,
    deeper_text,
    no_better_text,
)
from service.wording.units import Units
from tests.support.shipped import PROFILES

pytestmark = pytest.mark.pure

METRIC = Reader(units="metric", language="en")
US = Reader(units="us", language="en")
ANSWERING = Answers(reply_name="3")
PINS = AlarmFacts(
    room="House 3",
    species="shiitake",
    stage="pins",
    stage_day=2,
    quantity=Quantity.HUMIDITY,
    side=Side.LOW,
    value=81.2,
    limit=85.0,
    minutes=9,
    trend="falling",
    place=None,
    normal=(Quantity.TEMPERATURE, Quantity.CO2),
    first_check="humidifier",
    invented=False,
)
BACK = BackFacts(
    room="House 3",
    quantity=Quantity.HUMIDITY,
    side=Side.LOW,
    value=90.2,
    local_time="02:51",
    worst=78.1,
    limit=85.0,
    minutes=47,
    invented=False,
)
LONGEST = replace(PINS, room="M" * 12, species="W" * 10, stage="W" * 10, stage_day=888, invented=True)
# Words that promise what a reading cannot (no source: a rule of this house).
NEVER = re.compile(r"\b(ok|okay|all clear|safe|safely)\b", re.IGNORECASE)
REPLY_WORDS = re.compile(r"\b(reply|responda)\b", re.IGNORECASE)


def test_the_first_text_says_house_crop_value_limit_how_long_and_what_to_check() -> None:
    assert alarm_text(PINS, METRIC) == (
        "House 3 shiitake, pins day 2: humidity 81%, under limit 85% for 9 min, falling."
        " Temp, CO2 normal: check humidifier."
    )


def test_each_unit_system_has_its_own_figures() -> None:
    warm = replace(PINS, quantity=Quantity.TEMPERATURE, side=Side.HIGH, value=20.04, limit=19.0, trend=None)
    assert "temperature 20C, over limit 19C for 9 min." in alarm_text(warm, METRIC)
    assert "temperature 68F, over limit 66.2F for 9 min." in alarm_text(warm, US)


def test_falling_further_is_said_in_the_same_words_and_marked_worse() -> None:
    assert deeper_text(replace(PINS, value=74.0, minutes=35), METRIC).startswith(
        "House 3 shiitake, pins day 2, worse: humidity 74%, under limit 85% for 35 min, falling."
    )


def test_invented_data_is_marked_at_the_end_of_every_kind_of_text() -> None:
    told = [
        alarm_text(replace(PINS, invented=True), METRIC),
        deeper_text(replace(PINS, invented=True), METRIC),
        back_text(replace(BACK, invented=True), METRIC),
    ]
    assert all(text.endswith(" Invented data.") for text in told)


def test_the_text_names_the_place_when_the_room_has_several_probes() -> None:
    assert "humidity 81% at door end, under" in alarm_text(replace(PINS, place="door end"), METRIC)


def test_a_text_about_much_co2_sends_nobody_in_without_a_caution() -> None:
    """5000 ppm is the average of 8 hours that people may work in (OSHA, 29 CFR 1910.1000, table Z-1)."""
    co2 = replace(
        PINS,
        quantity=Quantity.CO2,
        side=Side.HIGH,
        value=5000,
        limit=1500,
        trend="rising",
        normal=(),
        first_check="fan or belt",
    )
    caution = " Air out first, do not go in alone."
    assert alarm_text(co2, METRIC) == (
        "House 3 shiitake, pins day 2: CO2 5000 ppm, over limit 1500 ppm for 9 min, rising."
        f" Check fan, belt, damper.{caution}"
    )
    assert caution in deeper_text(replace(LONGEST, quantity=Quantity.CO2, side=Side.HIGH, value=99_999), US)
    assert caution in back_text(replace(BACK, quantity=Quantity.CO2, side=Side.HIGH, value=9000, limit=12_000), US)
    assert caution not in alarm_text(replace(co2, value=4999), METRIC)
    assert caution not in alarm_text(replace(PINS, value=5000), METRIC)


@pytest.mark.parametrize(
    ("check_letters", "kept"),
    [
        (13, ["Temp, CO2 normal", "at far door end", "day 888", "falling", "WWWWWWWWWW", "CHECK"]),
        (14, ["at far door end", "day 888", "falling", "WWWWWWWWWW", "CHECK"]),
        (31, ["at far door end", "day 888", "falling", "WWWWWWWWWW", "CHECK"]),
        (32, ["day 888", "falling", "WWWWWWWWWW", "CHECK"]),
        (47, ["day 888", "falling", "WWWWWWWWWW", "CHECK"]),
        (48, ["falling", "WWWWWWWWWW", "CHECK"]),
        (55, ["falling", "WWWWWWWWWW", "CHECK"]),
        (56, ["WWWWWWWWWW", "CHECK"]),
        (64, ["WWWWWWWWWW", "CHECK"]),
        (65, ["WWWWWWWWWW"]),
    ],
)
def test_clauses_go_whole_and_in_their_order(check_letters: int, kept: list[str]) -> None:
    """The other language has the say too: what it has no room for goes in both."""
    wanted = "CHECK " + "x" * (check_letters - 6)
    text = alarm_text(replace(LONGEST, place="far door end", first_check=wanted), METRIC)
    clauses = ["Temp, CO2 normal", "at far door end", "day 888", "falling", "WWWWWWWWWW", "CHECK"]
    assert [clause for clause in clauses if clause in text] == kept


def test_a_room_without_a_crop_is_named_alone() -> None:
    cooler = replace(PINS, room="Cooler 1", species="", stage="", stage_day=None, quantity=Quantity.TEMPERATURE)
    assert alarm_text(cooler, US).startswith("Cooler 1: temperature ")


def test_a_value_that_is_already_inside_again_is_not_called_outside() -> None:
    assert "humidity 86%, was under limit 85%" in alarm_text(replace(PINS, value=86.0), METRIC)
    assert "humidity 85%, at limit 85%" in alarm_text(replace(PINS, value=85.0), METRIC)


def test_a_contact_is_told_in_words() -> None:
    mains = replace(PINS, quantity=Quantity.MAINS, value=0.0, limit=1.0, trend=None, normal=(), first_check=None)
    assert alarm_text(mains, US) == "House 3 shiitake, pins day 2: mains off for 9 min, should be on."
    back = replace(BACK, quantity=Quantity.MAINS, value=1.0, worst=0.0, limit=1.0)
    assert back_text(back, US) == "House 3: mains on again at 02:51. Was off for 47 min, should be on."


def test_the_closing_text_says_how_bad_it_was_and_how_long() -> None:
    assert back_text(BACK, METRIC) == (
        "House 3: humidity back in band, 90% at 02:51. Lowest 78%, under limit 85% for 47 min."
    )


def test_after_a_change_of_stage_nobody_is_told_of_a_limit_that_was_never_passed() -> None:
    for side, limit in ((Side.LOW, 50.0), (Side.HIGH, 97.0)):
        text = back_text(replace(BACK, side=side, value=80.0, worst=78.0, limit=limit), METRIC)
        assert text == f"House 3: humidity 80% at 02:51. Its limit is {limit:g}% now, and not passed."


def test_nobody_is_told_back_in_band_while_it_is_only_past_the_limit() -> None:
    text = back_text(replace(BACK, value=83.0, limit=80.0, in_band=False), METRIC)
    assert text == "House 3: humidity no longer under limit 80%, 83% at 02:51. Lowest 78%, under limit for 47 min."


def test_facts_are_plain_enough_to_be_stored_and_read_back() -> None:
    stored = json.loads(json.dumps(asdict(PINS)))
    read = AlarmFacts(
        **{
            **stored,
            "quantity": Quantity(stored["quantity"]),
            "side": Side(stored["side"]),
            "normal": tuple(Quantity(name) for name in stored["normal"]),
        }
    )
    assert read == PINS


def sentences(phrases: Phrases) -> list[str]:
    found: list[str] = []
    for value in asdict(phrases).values():
        for piece in value.values() if isinstance(value, dict) else value if isinstance(value, tuple) else [value]:
            found += piece if isinstance(piece, tuple) else [piece]
    return found


def test_every_phrase_is_in_the_alphabet_of_texts_and_none_promises_too_much() -> None:
    for language in LANGUAGES:
        for phrase in sentences(PHRASES_IN[language]):
            assert is_gsm7(phrase)
            assert not NEVER.search(phrase)


names = st.text(max_size=40)
figures = st.floats(-99_999, 999_999)
"""Wider than what any probe may say; see service/wire/plausible.py."""
languages = st.sampled_from(LANGUAGES)
readers = st.builds(
    Reader,
    units=st.sampled_from(("metric", "us")),
    language=languages,
    answers=st.none() | st.builds(Answers, reply_name=st.sampled_from(("M" * 12, "7"))),
)
alarms = st.builds(
    AlarmFacts,
    room=st.just(LONGEST.room) | names,
    species=st.just(LONGEST.species) | names,
    stage=st.just(LONGEST.stage) | names,
    stage_day=st.none() | st.integers(),
    quantity=st.sampled_from(Quantity),
    side=st.sampled_from(Side),
    value=figures,
    limit=figures,
    minutes=st.integers(min_value=0),
    trend=st.sampled_from(["falling", "rising", "steady", None]),
    place=st.none() | names,
    normal=st.lists(st.sampled_from(Quantity), max_size=6).map(tuple),
    first_check=st.none() | st.sampled_from(sorted(ENGLISH.first_check)) | st.text(max_size=120),
    invented=st.booleans(),
)


def no_better(facts: AlarmFacts, reader: Reader) -> str:
    return no_better_text(facts, Went(person="W" * 20, local_time="02:10"), reader)


@given(alarms, readers, st.sampled_from([alarm_text, deeper_text, no_better]))
def test_whatever_happened_it_is_one_segment_with_what_must_be_there(
    facts: AlarmFacts, reader: Reader, told: Callable[[AlarmFacts, Reader], str]
) -> None:
    text, said = told(facts, reader), PHRASES_IN[reader.language]
    counted = segments(text)

    assert (counted.encoding, counted.count) == ("GSM-7", 1)
    assert duration(facts.minutes, said) in text
    assert text.endswith((said.invented, said.invented_short)) or not facts.invented
    if facts.quantity in CONTACTS:
        assert said.contact[facts.quantity][facts.value >= 0.5] in text
    else:
        assert value_in_text(facts.quantity, facts.value, facts.limit, reader.units) in text
        assert f" {limit_in_text(facts.quantity, facts.limit, reader.units)} " in text
    if facts.room == LONGEST.room:
        assert text.startswith(facts.room)
    assert bool(REPLY_WORDS.search(text)) >= (reader.answers is not None)
    assert bool(said.high_co2 in text) == (facts.quantity is Quantity.CO2 and facts.value >= 5000)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("quantity", Quantity)
def test_without_reply_words_the_longest_names_keep_the_crop(
    quantity: Quantity, side: Side, units: Units, language: Language
) -> None:
    facts = replace(LONGEST, quantity=quantity, side=side, minutes=2879)
    reader = Reader(units=units, language=language)
    for text in (alarm_text(facts, reader), deeper_text(facts, reader)):
        assert segments(text).count == 1
        assert text.startswith(f"{'M' * 12} {'W' * 10}, {'W' * 10}")
        assert "47 h 59" in text
        assert not NEVER.search(text)
        assert not REPLY_WORDS.search(text)


def test_how_to_answer_names_the_room_twice_where_its_name_is_short() -> None:
    short, long = (
        replace(METRIC, answers=ANSWERING),
        replace(METRIC, answers=Answers(reply_name="Packing room")),
    )
    assert alarm_text(PINS, short).endswith(" Reply 3 going or 3 cannot.")
    assert alarm_text(PINS, long).endswith(" Reply Packing room going or cannot.")
    assert alarm_text(PINS, replace(short, language="es")).endswith(" Responda 3 voy o 3 no puedo.")


def test_the_next_person_is_told_who_went_and_when() -> None:
    text = no_better_text(PINS, Went(person="Maria", local_time="02:10"), replace(METRIC, answers=ANSWERING))
    assert text == (
        "House 3 shiitake, pins: humidity 81%, under limit 85% for 9 min, falling."
        " Maria went at 02:10, no better since. Check humidifier. Reply 3 going or 3 cannot."
    )


def test_stages_of_shipped_profiles_have_a_spanish_word_and_a_farm_s_own_stays() -> None:
    spanish = replace(METRIC, language="es")
    assert " shiitake, pines dia 2: humedad 81%, bajo limite 85% por 9 min" in alarm_text(PINS, spanish)
    assert " shiitake, my stage dia 2:" in alarm_text(replace(PINS, stage="my stage"), spanish)


def test_every_stage_of_the_shipped_profiles_has_a_spanish_word_that_fits() -> None:
    names = {stage.text_name for profile in PROFILES for stage in profile.stages}
    assert names == set(SPANISH.stage)
    assert all(segments(word).units <= STAGE_SEPTETS for word in SPANISH.stage.values())


@given(
    st.builds(
        BackFacts,
        room=st.just(LONGEST.room) | names,
        quantity=st.sampled_from(Quantity),
        side=st.sampled_from(Side),
        value=figures,
        local_time=names,
        worst=figures,
        limit=figures,
        minutes=st.integers(min_value=0),
        invented=st.booleans(),
        in_band=st.booleans(),
    ),
    readers,
)
def test_the_closing_text_is_one_segment_too(facts: BackFacts, reader: Reader) -> None:
    text, units = back_text(facts, reader), reader.units
    assert (segments(text).encoding, segments(text).count) == ("GSM-7", 1)
    contact = facts.quantity in CONTACTS
    was_past = facts.worst < facts.limit if facts.side is Side.LOW else facts.worst > facts.limit
    assert (duration(facts.minutes, PHRASES_IN[reader.language]) in text) or not (contact or was_past)
    if not contact:
        assert value_in_text(facts.quantity, facts.value, facts.limit, units) in text
        assert value_in_text(facts.quantity, facts.worst, facts.limit, units) in text or not was_past
        assert limit_in_text(facts.quantity, facts.limit, units) in text
