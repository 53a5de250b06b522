"""What a voice says for what a text writes. Our own wording; there is no outside source for it."""

from __future__ import annotations

from typing import get_args

import pytest

from rules.model import UNIT, Quantity
from service.wording.language import LANGUAGES, Language
from service.wording.speakable import VOICE_IN, speakable, spoken
from service.wording.units import Units, scale_of

pytestmark = pytest.mark.pure


@pytest.mark.parametrize(
    ("text", "english", "spanish"),
    [
        ("78%", "78 percent", "78 por ciento"),
        ("90 %RH, low", "90 percent, low", "90 por ciento, low"),
        ("CO2 1200 ppm", "C O 2 1200 parts per million", "C O 2 1200 partes por millón"),
        ("47 min.", "47 minutes.", "47 minutos."),
        ("1 min", "1 minute", "1 minuto"),
        ("1 h 20 min", "1 hour 20 minutes", "1 hora 20 minutos"),
        ("in 1-2 h", "in 1 to 2 hours", "in 1 a 2 horas"),
        (
            "air 46F for 50 min",
            "air 46 degrees Fahrenheit for 50 minutes",
            "air 46 grados Fahrenheit for 50 minutos",
        ),
        ("-3.5 C", "minus 3.5 degrees Celsius", "menos 3.5 grados Celsius"),
        ("1,400 lb", "1400 pounds", "1400 libras"),
        ("Temp normal, temp high", "Temperature normal, temperature high", "Temperatura normal, temperatura high"),
        ("at 2:51, day 2", "at 2:51, day 2", "at 2:51, day 2"),
        ("tempering", "tempering", "tempering"),
        ("", "", ""),
    ],
)
def test_what_is_only_written_is_said_in_words(text: str, english: str, spanish: str) -> None:
    assert (speakable(text, "en"), speakable(text, "es")) == (english, spanish)


@pytest.mark.parametrize("quantity", UNIT)
@pytest.mark.parametrize("units", get_args(Units))
def test_every_unit_of_a_text_is_said_in_words(quantity: Quantity, units: Units) -> None:
    unit = scale_of(quantity, units).text_unit
    assert not unit.strip() or f"3{unit}" not in speakable(f"at 3{unit}, limit 3{unit}", "en")


def test_names_stay_as_they_are_written() -> None:
    said = speakable("House 4F: 46F for 9 min. House 4F", "en", names=["House 4F", ""])
    assert said == "House 4F: 46 degrees Fahrenheit for 9 minutes. House 4F"


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("danger", [False, True])
def test_everything_is_said_twice_with_the_caution(language: Language, danger: bool) -> None:  # noqa: FBT001
    voice = VOICE_IN[language]
    said = spoken("House 7: 78%", language, danger=danger)
    caution = voice.caution_of_danger if danger else voice.caution
    assert said.count(f"{speakable('House 7: 78%', language)}. {caution}") == 2
    assert said.count(voice.caution) == 2


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_that_is_only_written_is_left(language: Language) -> None:
    text = "H7: 78%, limit 85%, CO2 5000 ppm, 46F, -2C, 20 min, 3 h, 40 lb, temp & more"
    said = speakable(text, language)
    assert not set("%&") & set(said)
    assert not {"ppm", "min", "h", "lb", "CO2", "46F", "temp"} & set(said.replace(",", " ").split())


def test_a_caution_that_the_text_has_is_not_said_twice_over() -> None:
    said = spoken("Ann went in. Do not go in alone, air out from outside.", "en", danger=False)
    assert said == (
        "This is Houseband, a machine. Ann went in. Do not go in alone, air out from outside."
        " Once more. Ann went in. Do not go in alone, air out from outside."
    )


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_phone_number_is_read_digit_by_digit(language: Language) -> None:
    assert speakable("+12025550145: 5 min", language).startswith("1 2 0 2 5 5 5 0 1 4 5: 5 min")


def test_a_call_that_sends_nobody_anywhere_warns_of_nothing() -> None:
    said = spoken("Ann is going to House 7.", "en", danger=False, sends_nobody=True)
    assert said == "This is Houseband, a machine. Ann is going to House 7. Once more. Ann is going to House 7."
