"""What is said back to an answer. That every text fits, in both languages, is held by the test over all texts."""

from __future__ import annotations

import pytest

from rules.model import Quantity, Side
from service.wording.answer_phrases import ENGLISH_ANSWERS, SPANISH_ANSWERS
from service.wording.answer_texts import AnswerFacts, OpenLine, StatusFacts, answer_text, status_text
from service.wording.reader import Reader
from tests.support.every_text.answers import facts as every
from tests.support.every_text.answers import open_lines

pytestmark = pytest.mark.pure

ENGLISH = Reader(units="us", language="en")
SPANISH = Reader(units="us", language="es")


def test_both_languages_have_the_same_results_in_the_same_number_of_forms() -> None:
    for english, spanish in (
        (ENGLISH_ANSWERS.results, SPANISH_ANSWERS.results),
        (ENGLISH_ANSWERS.cautions, SPANISH_ANSWERS.cautions),
    ):
        assert {key: len(forms) for key, forms in english.items()} == {
            key: len(forms) for key, forms in spanish.items()
        }
    assert ENGLISH_ANSWERS.words.keys() == SPANISH_ANSWERS.words.keys()


def test_a_caution_never_goes_however_long_the_names() -> None:
    for result in ("going", "going too", "working"):
        for facts in every(result):
            if facts.caution is None:
                continue
            text = answer_text(facts, ENGLISH)
            assert any(caution in text for caution in ENGLISH_ANSWERS.cautions[facts.caution]), text


def test_what_to_write_next_is_named_by_the_rooms_number() -> None:
    facts = AnswerFacts(result="going", room="House 7", reply="7", local_time="02:14")
    assert answer_text(facts, ENGLISH) == "House 7: you are going, noted 02:14. Text 7 out when you are out."
    assert answer_text(facts, SPANISH) == "House 7: usted va, anotado 02:14. Al salir escriba 7 fuera."


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("7", "3"), "Which house? Text 7 going or 3 going."),
        (("7", "3", "Cooler"), "Which house? Text 7 going, 3 going or Cooler going."),
        (("7",), "Which house? Text 7 going."),
    ],
)
def test_the_houses_to_choose_from_are_listed_with_the_word(options: tuple[str, ...], said: str) -> None:
    facts = AnswerFacts(result="which", room=None, local_time="02:14", word="going", options=options)
    assert answer_text(facts, ENGLISH) == said


def test_the_shipped_stages_have_spanish_names() -> None:
    facts = AnswerFacts(result="stage", room="House 7", local_time="02:14", stage="pins")
    assert answer_text(facts, SPANISH).startswith("House 7: pines desde las 02:14.")
    assert "primo" in answer_text(AnswerFacts(result="stage", room="H", local_time="1", stage="primo"), SPANISH)


def status(*lines: OpenLine, minutes: int | None = 4, probe: str | None = "h7-door", lately: bool = True) -> str:
    facts = StatusFacts(
        open=lines,
        local_time="02:14",
        longest_minutes=minutes,
        longest_probe=probe,
        lately=lately,
        invented=False,
    )
    return status_text(facts, ENGLISH)


def test_what_is_open_is_listed_and_how_lately_probes_were_heard() -> None:
    dry = OpenLine(name="House 7", kind="room", quantity=Quantity.HUMIDITY, side=Side.LOW, minutes=47)
    power = OpenLine(name="House 3", kind="room", quantity=Quantity.MAINS, side=Side.LOW, minutes=12)
    assert status(dry, power) == (
        "Open: House 7 humidity low 47 min, House 3 mains off 12 min. Every probe heard in the last 4 min."
    )


def test_what_there_is_no_room_for_is_counted() -> None:
    text = status(*open_lines())
    assert " more." in text
    assert text.startswith("Open: Wachsraum 12 CO2 people limit 13 h 59, ")


def test_a_probe_that_was_not_heard_for_long_is_named() -> None:
    assert status(minutes=190, lately=False) == "Nothing open at 02:14. Probe h7-door last heard 3 h 10 ago."
    assert status(minutes=None, lately=False).endswith("Probe h7-door never heard.")
    assert status(minutes=None, probe=None).endswith("No probe is in place.")
