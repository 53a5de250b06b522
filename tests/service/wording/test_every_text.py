"""Every text of every family, in both languages, with the longest names: one message that says the same."""

from __future__ import annotations

import re
from typing import Final

import pytest

from service.wire.reply_words import Said, read
from service.wire.word import Word
from service.wording.segments import segments
from tests.service.wording.make_table_of_texts import PAGE, table
from tests.support.families_of_texts import families, side_by_side

pytestmark = pytest.mark.pure

every_template = pytest.mark.parametrize(
    ("family", "template"), [(family.name, template) for family in families() for template in family.every]
)

ORDERS: Final = re.compile(
    r"\b(stop|end|cancel|quit|help|unsubscribe|stopall|start|yes|unstop|info|alto|baja|parar|ayuda)\b",
    re.IGNORECASE,
)
"""What phone companies keep for themselves (from memory of their published lists; common practice)."""
ASKED_FOR: Final = re.compile(r"\b(?:reply|responda|text|escriba)\b([^.?!]*)", re.IGNORECASE)
# The rest are rules of this house, so they have no outside source.
NEVER: Final = re.compile(
    r"\b(ok|okay|all clear|safe|safely|fine|seguro|segura|sin peligro|a salvo|todo bien|compliant|certified)\b",
    re.IGNORECASE,
)
SOUNDS_LIKE_SOFTWARE: Final = re.compile(
    r"\b(dashboard|tile|widget|gauge|device|node|entity|asset|twin|tag|zone|space|tenant|workspace|recipe|template"
    r"|preset|scene|rule|trigger|policy|workflow|automation|incident|ticket|pager|runbook|playbook|severity"
    r"|acknowledge|ack|snooze|mute|muted|shelve|silence|silent|escalation|rotation|channel|integration|webhook"
    r"|warning|critical|hysteresis|deadband|debounce|threshold|breach|setpoint|actuator|anomaly|insight|score"
    r"|smart|predictive|telemetry|payload|stream|ingest|heartbeat|uptime|onboarding|provisioning|commissioning"
    r"|pairing|analytics|notification|alert|sensor|offline|online"
    r"|dispositivo|panel|incidente|alerta|umbral|zona|receta|regla|politica|canal|notificacion|en linea)\b",
    re.IGNORECASE,
)
NUMBERS: Final = re.compile(r"\d+(?:[.:,]\d+)*")


@every_template
def test_every_text_is_one_message_in_the_basic_alphabet(family: str, template: str) -> None:
    for pair in side_by_side(family, template):
        for text in pair:
            counted = segments(text)
            assert (counted.encoding, counted.count) == ("GSM-7", 1), f"{counted.units}: {text}"


@every_template
def test_both_languages_say_the_same_figures(family: str, template: str) -> None:
    for english, spanish in side_by_side(family, template):
        assert sorted(NUMBERS.findall(english)) == sorted(NUMBERS.findall(spanish)), (english, spanish)


@every_template
def test_every_text_says_something_and_says_it_whole(family: str, template: str) -> None:
    assert side_by_side(family, template)
    for pair in side_by_side(family, template):
        for text in pair:
            assert text.strip() == text != ""
            assert not re.search(r"\{[a-z_]+\}|  |None|\s[.,:;]|\.\.|,\.", text), text


@every_template
def test_no_text_asks_for_a_word_that_phone_companies_keep_for_themselves(family: str, template: str) -> None:
    for pair in side_by_side(family, template):
        for text in pair:
            for asked in ASKED_FOR.findall(text):
                assert not ORDERS.search(asked), text


@every_template
def test_no_text_promises_what_a_reading_cannot_or_sounds_like_software(family: str, template: str) -> None:
    for pair in side_by_side(family, template):
        for text in pair:
            assert not NEVER.search(text), text
            assert not SOUNDS_LIKE_SOFTWARE.search(text), text
            assert "\N{DEGREE SIGN}" not in text


@pytest.mark.parametrize(
    ("answer", "word"),
    [
        ("7 going", Word.GOING),
        ("7 cannot", Word.CANNOT),
        ("going", Word.GOING),
        ("cannot", Word.CANNOT),
        ("7 voy", Word.GOING),
        ("7 no puedo", Word.CANNOT),
        ("voy", Word.GOING),
        ("no puedo", Word.CANNOT),
        ("out", Word.OUT),
        ("fuera", Word.OUT),
        ("HERE", Word.HERE),
        ("AQUI", Word.HERE),
    ],
)
def test_what_texts_ask_for_is_understood(answer: str, word: Word) -> None:
    said = read(answer, {"house-7": "House 7", "cooler-1": "Cooler"})
    assert isinstance(said, Said)
    assert said.word is word
    assert said.room_id == ("house-7" if "7" in answer else None)


def test_the_table_of_texts_is_up_to_date() -> None:
    """Otherwise: python -m tests.service.wording.make_table_of_texts"""
    assert PAGE.read_text(encoding="utf-8") == table()
