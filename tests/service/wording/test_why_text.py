"""The five facts behind a text: limit, who set it and when, readings, wait, probe."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.model import Quantity, Side
from service.wording.reader import Reader
from service.wording.why_text import WhyFacts, why_text

pytestmark = pytest.mark.pure

READER = Reader(units="us", language="en")
FACTS = WhyFacts(
    room="House 7",
    quantity=Quantity.HUMIDITY,
    side=Side.LOW,
    limit=85.0,
    set_by="Maria",
    set_on="2026-11-03",
    readings=(86.0, 84.1, 82.3, 78.2),
    first_time="02:10",
    last_time="02:31",
    wait_minutes=10,
    probe="door end",
    invented=False,
)


def test_all_five_facts_are_said() -> None:
    assert why_text(FACTS, READER) == (
        "House 7 humidity: limit 85%, set by Maria 2026-11-03. Read 84%, 82%, 78% from 02:10 to 02:31."
        " Told after 10 min. Probe door end."
    )
    assert why_text(FACTS, replace(READER, language="es")) == (
        "House 7 humedad: limite 85%, lo puso Maria 2026-11-03. Lecturas 84%, 82%, 78% de 02:10 a 02:31."
        " Aviso tras 10 min. Sonda door end."
    )


def test_a_limit_that_nobody_set_came_with_the_profile() -> None:
    text = why_text(replace(FACTS, set_by=None, wait_minutes=0), READER)
    assert " limit 85%, from the species profile 2026-11-03. " in text
    assert " Told at once. " in text


def test_a_limit_for_people_stands_for_an_average() -> None:
    people = replace(
        FACTS, quantity=Quantity.CO2, side=Side.PEOPLE, limit=30_000.0, readings=(31_000.0,), wait_minutes=15
    )
    text = why_text(people, READER)
    assert text.startswith(
        "House 7 CO2: people limit 30000 ppm, set by Maria 2026-11-03. Read 31000 ppm at 02:31."
    )
    assert " Average of 15 min. " in text


def test_a_contact_and_missing_readings_are_said_in_words() -> None:
    mains = replace(FACTS, quantity=Quantity.MAINS, limit=1.0, readings=(0.0,))
    assert why_text(mains, READER).startswith(
        "House 7 mains: should be on, set by Maria 2026-11-03. Read off at 02:31."
    )
    assert " No readings. " in why_text(replace(FACTS, readings=()), READER)


def test_where_room_runs_short_the_oldest_readings_go_and_no_time_is_claimed_for_them() -> None:
    long = replace(
        FACTS,
        room="M" * 12,
        quantity=Quantity.PRODUCT_CORE,
        set_by="W" * 16,
        limit=3.4,
        readings=(5.55, 5.75, 5.95),
        wait_minutes=61,
        probe="p" * 16,
        invented=True,
    )
    text = why_text(long, READER)
    assert "Read 43F at 02:31." in text
    assert "02:10" not in text
