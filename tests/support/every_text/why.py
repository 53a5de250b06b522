"""Every text that says why somebody was told, with the longest names and the widest figures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import product
from typing import Final

from rules.model import Quantity, Side
from service.wording.language import Language
from service.wording.reader import Reader
from service.wording.why_text import WhyFacts, why_text
from tests.support.every_text.alarm import figures

USUAL: Final = WhyFacts(
    room="House 7",
    quantity=Quantity.HUMIDITY,
    side=Side.LOW,
    limit=85.0,
    set_by="Maria",
    set_on="2026-11-03",
    readings=(84.1, 82.3, 78.2),
    first_time="02:10",
    last_time="02:31",
    wait_minutes=10,
    probe="door end",
    invented=False,
)


def whys() -> Iterator[WhyFacts]:
    yield USUAL
    for quantity, side in [*product(Quantity, (Side.LOW, Side.HIGH)), (Quantity.CO2, Side.PEOPLE)]:
        value, limit = figures(quantity)
        yield replace(
            USUAL,
            room="Wachsraum [1",
            quantity=quantity,
            side=side,
            limit=limit,
            set_by="Wilhelmina-Magdalena",
            readings=(limit, value, value),
            wait_minutes=2879,
            probe="a4c1380f00000001",
            invented=True,
        )
    yield replace(USUAL, set_by=None, wait_minutes=0)
    for set_by in (None, "Wilhelmina-Magdalena"):
        people = {"quantity": Quantity.CO2, "side": Side.PEOPLE, "limit": 30000.0, "set_by": set_by, "set_on": ""}
        yield replace(USUAL, **people, readings=(29000.0, 31000.0, 31500.0), wait_minutes=15)  # type: ignore[arg-type]
    yield replace(USUAL, readings=())
    yield replace(USUAL, readings=(78.2,))
    yield replace(USUAL, first_time="02:31")
    yield replace(USUAL, readings=tuple(90.0 - n for n in range(9)))


def _why(language: Language) -> Iterable[str]:
    for facts in whys():
        yield why_text(facts, Reader(units="us", language=language))
        yield why_text(facts, Reader(units="metric", language=language))


EVERY: Final[Mapping[str, Callable[[Language], Iterable[str]]]] = {"why": _why}
FIRST_IS_USUAL: Final = True
