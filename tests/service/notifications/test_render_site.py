"""From the facts of a notice about the whole farm to its words. No outside source."""

from __future__ import annotations

from typing import Any

import pytest

from service.notifications.render import render
from service.wording.reader import Reader
from tests.support.farmyard import NIGHT_TO_MS, ZONE

pytestmark = pytest.mark.pure

EVERY: dict[str, Any] = {"room": None, "at_ms": NIGHT_TO_MS, "zone": ZONE, "invented": False}
POWER: dict[str, Any] = {"what": "power", "side": None, "since_ms": NIGHT_TO_MS}


@pytest.mark.parametrize(
    ("kind", "facts", "text"),
    [
        (
            "site",
            {
                **POWER,
                "rooms": ["House 3", "House 4"],
                "first_check": "generator",
                "known": True,
                "told_before": False,
                "air_out": False,
            },
            (
                "2 casas a la vez: sin corriente desde 06:00. House 3, 4. Generador apagado. "
                "Cables: solo gente calificada."
            ),
        ),
        (
            "site back",
            {
                **POWER,
                "rooms": ["House 3", "House 4"],
                "still": [],
                "left_alone": [],
                "still_since_ms": None,
                "until_ms": NIGHT_TO_MS,
            },
            "Las 2 casas dentro de sus limites desde 06:00: House 3, 4.",
        ),
        (
            "site back",
            {
                **POWER,
                "rooms": ["House 3"],
                "still": ["House 4"],
                "left_alone": [],
                "still_since_ms": NIGHT_TO_MS,
                "until_ms": NIGHT_TO_MS,
            },
            "De vuelta: House 3. Sigue sin corriente desde 06:00: House 4.",
        ),
        (
            "summary",
            {"count": 6, "held": 1, "rooms": ["House 3"]},
            "6 mensajes en una hora. 1 mas sin enviar: House 3. Vea la pagina.",
        ),
    ],
)
def test_the_words_for_one_reader(kind: str, facts: dict[str, Any], text: str) -> None:
    notice = {"kind": kind, "room_id": None, "facts": {**EVERY, **facts}}
    assert render(notice, Reader(units="metric", language="es"), now_ms=NIGHT_TO_MS) == text
