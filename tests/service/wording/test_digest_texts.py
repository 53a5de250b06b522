"""The morning's two-line text: one segment in both languages, and never calmer than the night was."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from rules.model import Quantity, Side
from service.wording.digest_texts import MorningFacts, OpenThing, Spell, morning_text
from service.wording.language import LANGUAGES, Language
from service.wording.reader import Reader
from service.wording.segments import segments
from tests.support.every_text.digests import EVERY, QUIET_NIGHT, facts

pytestmark = pytest.mark.pure

DRY = MorningFacts(
    worst_room="House 7",
    spell=Spell(
        quantity=Quantity.HUMIDITY, side=Side.LOW, edge=85, minutes=47, local_time="02:04", worst=78, over=True
    ),
    people_from=None,
    unheard=(),
    also=("Cooler",),
    quiet=5,
    open=(),
    not_heard=(),
    on_call="Maria",
    room_word="house",
    invented=False,
)


def read(one: MorningFacts, language: Language = "en") -> list[str]:
    return morning_text(one, Reader(units="us", language=language)).split("\n")


def test_a_night_with_one_bad_room_in_two_lines() -> None:
    night, morning = read(DRY)
    noche, manana = read(DRY, "es")

    assert night.startswith("Last night: House 7 worst: humidity under 85% for 47 min from 02:04, lowest 78%.")
    assert night.endswith("78%. Also Cooler. 5 houses quiet.")
    assert morning == "Nothing open. Tonight: Maria."
    assert noche.startswith("Anoche: House 7 la peor: humedad bajo 85% por 47 min desde 02:04, minimo 78%.")
    assert noche.endswith("78%. Tambien Cooler. 5 sin novedad.")
    assert manana == "Nada pendiente. Esta noche: Maria."


def test_what_is_still_wrong_is_said_before_who_is_on_call() -> None:
    still = replace(DRY, open=(OpenThing(room="Cooler", quantity=Quantity.TEMPERATURE, side=Side.HIGH),))

    assert read(still)[1] == "Still: Cooler temperature high. Tonight: Maria."


def test_a_room_that_is_not_heard_is_neither_quiet_nor_closed() -> None:
    blind = replace(DRY, spell=None, unheard=(Quantity.HUMIDITY,), also=(), not_heard=("House 7",))

    assert read(blind)[0] == "Last night: House 7: nothing heard of humidity. 5 houses quiet."
    assert read(blind)[1].startswith("Not heard: House 7.")


@pytest.mark.parametrize("language", LANGUAGES)
def test_of_too_much_co2_it_says_what_to_do_before_going_in(language: Language) -> None:
    high = replace(
        DRY, people_from="03:10", open=(OpenThing(room="House 7", quantity=Quantity.CO2, side=Side.PEOPLE),)
    )

    first, second = read(high, language)

    assert ("not in alone" in first) or ("no entre solo" in first)
    assert ("people limit" in second) or ("CO2, personas" in second)


def test_a_quiet_night_is_short() -> None:
    assert read(replace(QUIET_NIGHT, invented=False, on_call=None)) == [
        "Last night was quiet. 12 chambers quiet.",
        "Nothing open.",
    ]


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_one_segment_of_two_lines(language: Language) -> None:
    for text in EVERY["morning"](language):
        counted = segments(text)
        assert (counted.encoding, counted.count) == ("GSM-7", 1), text
        assert text.count("\n") == 1, text


def test_both_languages_hold_the_same_figures() -> None:
    for english, spanish in zip(EVERY["morning"]("en"), EVERY["morning"]("es"), strict=True):
        assert sorted(re.findall(r"\d+", english)) == sorted(re.findall(r"\d+", spanish)), (english, spanish)


def test_the_worst_room_its_figure_and_what_is_open_never_go() -> None:
    for one in facts():
        first, second = read(one)
        assert one.worst_room is None or one.worst_room in first
        assert second.startswith("Still" if one.open else "Not heard" if one.not_heard else "Nothing open")
