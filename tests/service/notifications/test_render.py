"""From frozen facts to words, for every kind of the chain."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import pytest

from service.notifications.render import Answers, Reader, plain, render

pytestmark = pytest.mark.pure

MINUTE: Final = 60_000
AT_MS: Final = 1_793_149_800_000
"""2026-10-28 02:10 in Vienna."""
ENGLISH: Final = Reader(units="us", language="en", name="Ana", answers=Answers(reply_name="7"))
SPANISH: Final = replace(ENGLISH, language="es")
EVERYWHERE: Final = {"room": "House 7", "at_ms": AT_MS, "zone": "Europe/Vienna", "invented": False}
TROUBLE: Final = {
    **EVERYWHERE,
    "species": "shiitake",
    "stage": "pins",
    "stage_day": 2,
    "quantity": "humidity",
    "side": "low",
    "value": 78.2,
    "limit": 85.0,
    "minutes": 9,
    "began_ms": AT_MS - 9 * MINUTE,
    "trend": "falling",
    "place": None,
    "normal": ["co2"],
    "first_check": "humidifier",
}
DANGER: Final = {
    **EVERYWHERE,
    "level": "15 minutes",
    "value": 31_666.7,
    "at_least": False,
    "limit": 30_000,
    "inside": [],
}
WENT: Final = {"person": "Maria", "went_ms": AT_MS}


def said(kind: str, facts: dict[str, Any], reader: Reader = ENGLISH) -> str:
    notice = {"kind": kind, "facts": facts, "room_id": "house-7", "notice_key": "n"}
    return render(notice, reader, now_ms=AT_MS + 13 * MINUTE)


def test_how_long_it_lasts_is_said_as_of_now() -> None:
    assert " for 22 min, falling. CO2 normal: check humidifier. Reply 7 going or 7 cannot." in said(
        "trouble", TROUBLE
    )
    assert " por 22 min, bajando. CO2 normal: revise humidificador. " in said("also", TROUBLE, SPANISH)
    assert "pins day 2, worse: humidity 78%" in said("deeper", TROUBLE)


def test_no_improvement_is_told_from_the_facts_of_what_it_is_about() -> None:
    assert " Maria went at 02:10, no better since. Check humidifier." in said(
        "no improvement", {**TROUBLE, **WENT}
    )
    assert said("no improvement", {**DANGER, **WENT}).startswith(
        "House 7: DANGER. CO2 31667 ppm, 15 min limit 30000."
    )
    site = {**EVERYWHERE, **WENT, "room": None, "rooms": ["House 3", "House 4"], "since_ms": AT_MS - 60 * MINUTE}
    assert said("no improvement", site).startswith(
        "House 3, House 4: trouble since 01:10. Maria went at 02:10, no better since."
    )
    assert said("no improvement", {**site, "rooms": []}, SPANISH).startswith(
        "Toda la granja: problema desde las 01:10."
    )


def test_somebody_who_is_not_out_is_named_with_their_number() -> None:
    facts = {
        **EVERYWHERE,
        "person": "Maria",
        "phone": "+15551234567",
        "since_ms": AT_MS,
        "until_ms": AT_MS + 45 * MINUTE,
    }
    assert said("look after", {**facts, "why": "going"}) == (
        "Maria went to House 7 at 02:10, no word since. Call +15551234567 or go."
        " Do not go in alone, air out from outside, meter at the door. Reply 7 going or 7 cannot."
    )
    assert said("look after", {**facts, "why": "working", "room": None, "phone": None}).startswith(
        "Maria was due out at 02:55, no word. Go and look."
    )


def test_those_woken_hear_who_goes_and_that_they_may_sleep() -> None:
    assert (
        said("taken", {**EVERYWHERE, "person": "Maria"}) == "Maria is going to House 7. Nothing for you to do now."
    )
    elsewhere = said("taken", {**EVERYWHERE, "person": "Maria", "room": None}, SPANISH)
    assert elsewhere == "Maria va a atender el problema que le avisamos. Usted no tiene que hacer nada ahora."


def test_a_trial_asks_for_an_answer_only_where_one_can_reach_us() -> None:
    facts = {**EVERYWHERE, "room": None, "kind": "weekly", "farm": "Alder Spring Farm"}
    assert said("trial", facts).startswith("Test text from Alder Spring Farm, 02:10. Please reply HERE,")
    assert "HERE" not in said("trial", {**facts, "asks": False})
    assert said("trial", {**facts, "kind": "night ring"}, SPANISH).startswith(
        "Prueba de Alder Spring Farm, 02:10. Celular puesto como de noche: ¿sono? Responda AQUI."
    )


def test_managers_hear_who_opted_out_and_what_to_do() -> None:
    text = said("opted out", {**EVERYWHERE, "room": None, "person": "Maria"})
    assert text.startswith("Maria has opted out of our texts at the phone company")
    assert text.endswith("Speak to them, or set another way to tell them.")


def test_the_end_of_danger_never_says_that_all_is_well() -> None:
    under = {**EVERYWHERE, "side": "people", "value": 850.2, "at_least": False}
    assert said("back", under, SPANISH) == (
        "House 7: CO2 850 ppm, bajo el limite para personas desde las 02:10."
        " Mida con medidor en la puerta antes de que alguien entre."
    )


def test_facts_that_cannot_be_said_still_say_where_to_look() -> None:
    notice = {"kind": "trouble", "facts": {}, "room_id": "house-7"}
    assert plain(notice) == "house-7: something is wrong there, look at the page."
    assert plain({**notice, "room_id": None}, "es") == "Granja: algo anda mal ahi, vea la pagina."
    assert plain({**notice, "kind": "danger"}, "es") == "house-7: PELIGRO para personas. No entre solo."
    with pytest.raises(KeyError):
        render({**notice, "kind": "nothing we know"}, ENGLISH, now_ms=AT_MS)


def test_nobody_without_a_proven_way_back_is_asked_to_reply() -> None:
    silent = replace(ENGLISH, answers=None)
    for kind, facts in (("trouble", TROUBLE), ("danger", DANGER), ("no improvement", {**TROUBLE, **WENT})):
        assert re.search(r"\bReply\b", said(kind, facts))
        assert not re.search(r"\bReply\b", said(kind, facts, silent))
