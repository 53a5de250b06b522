from __future__ import annotations

import json
import re
from dataclasses import asdict, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model import CONTACTS, Quantity, Side
from service.wording import texts
from service.wording.format import duration, limit_in_text, value_in_text
from service.wording.phrases import ENGLISH, Phrases
from service.wording.segments import is_gsm7, segments
from service.wording.texts import AlarmFacts, BackFacts, alarm_text, back_text, deeper_text
from service.wording.units import Units

pytestmark = pytest.mark.pure

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
# Until answers are listened for, no text may ask for one.
REPLY_WORDS = re.compile(r"\b(reply|answer|respond)\b|\d\s*=", re.IGNORECASE)


def test_the_first_text_says_house_crop_value_limit_how_long_and_what_to_check() -> None:
    assert alarm_text(PINS, "metric") == (
        "House 3 shiitake, pins day 2: humidity 81%, under limit 85% for 9 min, falling."
        " Temp, CO2 normal: check humidifier."
    )


def test_each_unit_system_has_its_own_figures() -> None:
    warm = replace(PINS, quantity=Quantity.TEMPERATURE, side=Side.HIGH, value=20.04, limit=19.0, trend=None)
    assert "temperature 20C, over limit 19C for 9 min." in alarm_text(warm, "metric")
    assert "temperature 68F, over limit 66.2F for 9 min." in alarm_text(warm, "us")


def test_falling_further_is_said_in_the_same_words_and_marked_worse() -> None:
    assert deeper_text(replace(PINS, value=74.0, minutes=35), "metric").startswith(
        "House 3 shiitake, pins day 2, worse: humidity 74%, under limit 85% for 35 min, falling."
    )


def test_invented_data_is_marked_at_the_end_of_every_kind_of_text() -> None:
    told = [
        alarm_text(replace(PINS, invented=True), "metric"),
        deeper_text(replace(PINS, invented=True), "metric"),
        back_text(replace(BACK, invented=True), "metric"),
        texts.trial_text(farm="Alder Spring Farm", local_time="10:04", invented=True),
    ]
    assert all(text.endswith(" Invented data.") for text in told)


def test_the_text_names_the_place_when_the_room_has_several_probes() -> None:
    assert "humidity 81% at door end, under" in alarm_text(replace(PINS, place="door end"), "metric")


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
    assert alarm_text(co2, "metric") == (
        "House 3 shiitake, pins day 2: CO2 5000 ppm, over limit 1500 ppm for 9 min, rising."
        f" Check fan, belt, damper.{caution}"
    )
    assert caution in deeper_text(replace(LONGEST, quantity=Quantity.CO2, side=Side.HIGH, value=99_999), "us")
    assert caution in back_text(
        replace(BACK, quantity=Quantity.CO2, side=Side.HIGH, value=9000, limit=12_000), "us"
    )
    assert caution not in alarm_text(replace(co2, value=4999), "metric")
    assert caution not in alarm_text(replace(PINS, value=5000), "metric")


@pytest.mark.parametrize(
    ("check_letters", "evidence", "place", "check"),
    [
        (15, True, True, True),
        (16, False, True, True),
        (33, False, True, True),
        (34, False, False, True),
        (49, False, False, True),
        (50, False, False, False),
    ],
)
def test_clauses_go_whole_evidence_first_then_the_place_then_the_check(
    check_letters: int, *, evidence: bool, place: bool, check: bool
) -> None:
    wanted = "check " + "x" * (check_letters - 6)
    text = alarm_text(replace(LONGEST, place="far door end", first_check=wanted), "metric")
    assert ("Temp, CO2 normal" in text, "at far door end" in text, wanted[1:] in text) == (evidence, place, check)


def test_a_room_without_a_crop_is_named_alone() -> None:
    cooler = replace(PINS, room="Cooler 1", species="", stage="", stage_day=None, quantity=Quantity.TEMPERATURE)
    assert alarm_text(cooler, "us").startswith("Cooler 1: temperature ")


def test_a_value_that_is_already_inside_again_is_not_called_outside() -> None:
    assert "humidity 86%, was under limit 85%" in alarm_text(replace(PINS, value=86.0), "metric")
    assert "humidity 85%, at limit 85%" in alarm_text(replace(PINS, value=85.0), "metric")


def test_a_contact_is_told_in_words() -> None:
    mains = replace(PINS, quantity=Quantity.MAINS, value=0.0, limit=1.0, trend=None, normal=(), first_check=None)
    assert alarm_text(mains, "us") == "House 3 shiitake, pins day 2: mains off for 9 min, should be on."
    back = replace(BACK, quantity=Quantity.MAINS, value=1.0, worst=0.0, limit=1.0)
    assert back_text(back, "us") == "House 3: mains on again at 02:51. Was off for 47 min, should be on."


def test_the_closing_text_says_how_bad_it_was_and_how_long() -> None:
    assert back_text(BACK, "metric") == (
        "House 3: humidity back in band, 90% at 02:51. Lowest 78%, under limit 85% for 47 min."
    )


def test_after_a_change_of_stage_nobody_is_told_of_a_limit_that_was_never_passed() -> None:
    for side, limit in ((Side.LOW, 50.0), (Side.HIGH, 97.0)):
        text = back_text(replace(BACK, side=side, value=80.0, worst=78.0, limit=limit), "metric")
        assert text == f"House 3: humidity 80% at 02:51. Its limit is {limit:g}% now, and not passed."


def test_nobody_is_told_back_in_band_while_it_is_only_past_the_limit() -> None:
    text = back_text(replace(BACK, value=83.0, limit=80.0, in_band=False), "metric")
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
    for phrase in sentences(ENGLISH):
        assert is_gsm7(phrase)
        assert not NEVER.search(phrase)


names = st.text(max_size=40)
figures = st.floats(allow_nan=False, allow_infinity=False)
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


@given(alarms, st.sampled_from(["metric", "us"]), st.sampled_from([alarm_text, deeper_text]))
def test_whatever_happened_it_is_one_segment_with_what_must_be_there(
    facts: AlarmFacts, units: Units, told: object
) -> None:
    assert callable(told)
    text = told(facts, units)
    counted = segments(text)

    assert (counted.encoding, counted.count) == ("GSM-7", 1)
    assert duration(facts.minutes) in text
    assert text.endswith("Invented data.") or not facts.invented
    if facts.quantity in CONTACTS:
        assert ENGLISH.contact[facts.quantity][facts.value >= 0.5] in text
    else:
        assert value_in_text(facts.quantity, facts.value, facts.limit, units) in text
        assert f"limit {limit_in_text(facts.quantity, facts.limit, units)} for" in text
    if facts.room == LONGEST.room:
        assert text.startswith(facts.room)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("quantity", Quantity)
def test_with_the_longest_names_nothing_that_must_be_there_is_cut(
    quantity: Quantity, side: Side, units: Units
) -> None:
    facts = replace(LONGEST, quantity=quantity, side=side, minutes=2879)
    for text in (alarm_text(facts, units), deeper_text(facts, units)):
        assert segments(text).count == 1
        assert text.startswith(f"{'M' * 12} {'W' * 10}, {'W' * 10} day 888")
        assert "47 h 59" in text
        assert not NEVER.search(text)
        assert not REPLY_WORDS.search(text)


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
    st.sampled_from(["metric", "us"]),
)
def test_the_closing_text_is_one_segment_too(facts: BackFacts, units: Units) -> None:
    text = back_text(facts, units)
    assert (segments(text).encoding, segments(text).count) == ("GSM-7", 1)
    contact = facts.quantity in CONTACTS
    was_past = facts.worst < facts.limit if facts.side is Side.LOW else facts.worst > facts.limit
    assert (duration(facts.minutes) in text) or not (contact or was_past)
    if not contact:
        assert value_in_text(facts.quantity, facts.value, facts.limit, units) in text
        assert value_in_text(facts.quantity, facts.worst, facts.limit, units) in text or not was_past
        assert limit_in_text(facts.quantity, facts.limit, units) in text


@given(names, names, st.booleans())
def test_a_trial_text_is_one_segment_whatever_the_farm_is_called(
    farm: str,
    local_time: str,
    invented: bool,  # noqa: FBT001 - hypothesis fills by position
) -> None:
    assert segments(texts.trial_text(farm=farm, local_time=local_time, invented=invented)).count == 1
