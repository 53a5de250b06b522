"""Names cut to length, how to answer, and the fullest text that fits in every language."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from service.wording.fitting import capital, cut_list, person_name, replies, told_alike
from service.wording.phrases import ENGLISH, SPANISH
from service.wording.reader import Answers, Reader

pytestmark = pytest.mark.pure


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("Maria", "Maria"),
        ("María José Núñez", "Maria José Nuñez"),
        ("Maria Fernanda Lopez", "Maria Fernanda"),
        ("Wilhelmina-Magdalena", "Wilhelmina-Magda"),
        ("  Bo \n Li ", "Bo Li"),
    ],
)
def test_a_person_s_name_goes_by_whole_words(name: str, said: str) -> None:
    assert person_name(name) == said


def test_a_list_says_how_many_names_it_leaves_out() -> None:
    rooms = [f"House {n}" for n in range(1, 10)]
    assert cut_list(rooms[:2], 40) == "House 1, House 2"
    assert cut_list(rooms, 20) == "House 1, House 2 +7"
    assert cut_list(rooms, 3) == ""
    assert cut_list([], 40) == ""


def test_a_first_letter_that_the_alphabet_has_no_capital_for_goes_without_its_accent() -> None:
    assert (capital("ñandu"), capital("à la carte"), capital("")) == ("Ñandu", "A la carte", "")


def test_how_to_answer_is_said_with_the_name_and_without() -> None:
    seven = Answers(reply_name="7")
    assert replies(seven, ENGLISH) == ("Reply 7 going or 7 cannot.", "Reply going or cannot.")
    assert replies(seven, SPANISH) == ("Responda 7 voy o 7 no puedo.", "Responda voy o no puedo.")
    cooler = Answers(reply_name="Cold store")
    assert replies(cooler, ENGLISH)[0] == "Reply Cold store going or cannot."
    assert replies(None, ENGLISH) == ("", "")


def test_whoever_cannot_be_heard_by_text_is_given_a_link_if_there_is_room() -> None:
    link = Answers(reply_name="7", link="https://larch.example/a/Qm9vay0xMjM0NTY3ODkw")
    assert replies(link, ENGLISH) == ("Answer: https://larch.example/a/Qm9vay0xMjM0NTY3ODkw", "")
    assert replies(link, SPANISH)[0].startswith("Responda: https://")


def ladder(reader: Reader) -> Iterator[str]:
    """The first rung fits in English only, the last in none."""
    yield "x" * (160 if reader.language == "en" else 161)
    yield f"{reader.language}: short"
    yield "y" * 161


def test_a_clause_that_one_language_has_no_room_for_goes_in_all() -> None:
    assert told_alike(ladder, Reader(units="us", language="en")) == "en: short"
    assert told_alike(ladder, Reader(units="us", language="es")) == "es: short"


def test_where_nothing_fits_the_shortest_is_said_all_the_same() -> None:
    assert told_alike(lambda _: iter(["x" * 200, "y" * 170]), Reader(units="us", language="es")) == "y" * 170


def test_ladders_that_are_not_equally_long_are_found_out() -> None:
    with pytest.raises(ValueError, match="shorter"):
        told_alike(lambda r: iter(["x" * 200] * (1 + (r.language == "en"))), Reader(units="us", language="en"))
