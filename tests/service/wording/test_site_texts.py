"""The texts about the whole farm at once. Length and letters: 3GPP TS 23.038 and 23.040 (``segments``)."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from service.wording.language import LANGUAGES, Language
from service.wording.reader import Answers, Reader
from service.wording.segments import segments
from service.wording.site_texts import (
    SiteBackFacts,
    SiteFacts,
    SummaryFacts,
    names_listed,
    site_back_text,
    site_text,
    summary_text,
)
from tests.support.every_text.site import EVERY

pytestmark = pytest.mark.pure

READER = Reader(units="us", language="en")
SPANISH = replace(READER, language="es")
ALL = Answers(reply_name="all")
HOUSES = tuple(f"House {n}" for n in range(1, 13))
DRY = SiteFacts(
    rooms=HOUSES[:4],
    what="humidity",
    side="low",
    since="02:04",
    first_check="water supply",
    known=False,
    told_before=False,
    air_out=False,
    invented=False,
)
POWER = replace(DRY, rooms=HOUSES, what="power", side="", first_check="power", known=True)
BACK = SiteBackFacts(
    rooms=HOUSES[:3],
    still=(),
    left_alone=(),
    what="humidity",
    side="low",
    still_since="",
    until="03:12",
    invented=False,
)
HELD = SummaryFacts(count=6, held=4, rooms=("House 3", "House 7", "House 9", "Cooler"), invented=False)


@pytest.mark.parametrize(
    ("facts", "reader", "text"),
    [
        (
            DRY,
            READER,
            "4 houses at once: humidity low since 02:04. House 1, 2, 3, 4. Likely water supply.",
        ),
        (
            replace(DRY, known=True),
            replace(READER, answers=ALL),
            (
                "4 houses at once: humidity low since 02:04. House 1, 2, 3, 4. Water pressure gone. "
                "Reply all going or all cannot."
            ),
        ),
        (
            POWER,
            READER,
            (
                "12 houses at once: mains off since 02:04. House 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12. "
                "Check breakers, generator. Wiring: qualified people only."
            ),
        ),
        (
            replace(POWER, told_before=True, first_check="generator", invented=True),
            replace(SPANISH, answers=ALL),
            (
                "Ya 12 casas: sin corriente desde 02:04. House 1 y 11 mas. Generador apagado. "
                "Cables: solo gente calificada. Responda all voy o all no puedo. Datos inventados."
            ),
        ),
        (
            replace(DRY, what="co2", side="high", first_check="fresh air", air_out=True),
            READER,
            (
                "4 houses at once: CO2 high since 02:04. House 1, 2, 3, 4. Likely fresh air: check fans. "
                "Air out first, do not go in alone."
            ),
        ),
    ],
)
def test_what_stands_in_a_text_about_many_houses(facts: SiteFacts, reader: Reader, text: str) -> None:
    assert site_text(facts, reader) == text


@pytest.mark.parametrize(
    ("more", "text"),
    [
        ({}, "All 3 houses inside their limits since 03:12: House 1, 2, 3."),
        (
            {"still": ("House 9",), "still_since": "02:04"},
            "Back: House 1, 2, 3. Still humidity low since 02:04: House 9.",
        ),
        (
            {"left_alone": ("House 9",)},
            "Back: House 1, 2, 3. No texts for now: House 9.",
        ),
        (
            {"rooms": (), "still": ("House 9", "Cooler"), "still_since": "02:04", "what": "power", "side": ""},
            "Still mains off since 02:04: House 9, Cooler.",
        ),
    ],
)
def test_what_stands_in_a_text_about_its_end(more: dict[str, Any], text: str) -> None:
    assert site_back_text(replace(BACK, **more), READER) == text


@pytest.mark.parametrize(
    ("facts", "reader", "text"),
    [
        (HELD, READER, "6 texts in an hour. 4 more held: House 3, 7, 9, Cooler. See the page."),
        (
            replace(HELD, held=1, rooms=("House 3",)),
            replace(READER, answers=ALL),
            "6 texts in an hour. 1 more held: House 3. See the page or reply status.",
        ),
        (replace(HELD, rooms=()), READER, "6 texts in an hour. 4 more held. See the page."),
        (
            HELD,
            replace(SPANISH, answers=ALL),
            "6 mensajes en una hora. 4 mas sin enviar: House 3, 7, 9, Cooler. Vea la pagina o responda estado.",
        ),
    ],
)
def test_what_stands_in_a_summary(facts: SummaryFacts, reader: Reader, text: str) -> None:
    assert summary_text(facts, reader) == text


@pytest.mark.parametrize(
    ("names", "most", "said"),
    [
        (("House 3", "House 4", "House 7", "House 9"), 3, "House 3, 4, 7 and 1 more"),
        (("House 3", "Cooler", "House 4"), 9, "House 3, Cooler, House 4"),
        (("North 1", "North 2", "South 1"), 9, "North 1, 2, South 1"),
        (("North old", "North new"), 9, "North old, North new"),
        (("3", "4"), 2, "3, 4"),
        ((), 1, ""),
    ],
)
def test_names_alike_are_drawn_together(names: tuple[str, ...], most: int, said: str) -> None:
    assert names_listed(names, most, "{names} and {count} more") == said


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("kind", EVERY)
def test_every_text_is_one_segment(kind: str, language: Language) -> None:
    for text in set(EVERY[kind](language)):
        counted = segments(text)
        assert (counted.encoding, counted.count) == ("GSM-7", 1), text


@pytest.mark.parametrize("kind", EVERY)
def test_both_languages_carry_the_same_figures(kind: str) -> None:
    for english, spanish in zip(EVERY[kind]("en"), EVERY[kind]("es"), strict=True):
        assert re.findall(r"\d+", english) == re.findall(r"\d+", spanish), (english, spanish)
