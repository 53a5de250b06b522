"""Every text about one room's air, with the longest names and the widest figures that can stand in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import product
from typing import Final

from rules.model import CONTACTS, Quantity, Side
from service.wording.language import Language
from service.wording.phrases import ENGLISH, PHRASES_IN, Trend
from service.wording.reader import Answers, Reader
from service.wording.texts import (
    AlarmFacts,
    BackFacts,
    Went,
    alarm_text,
    back_text,
    deeper_text,
    no_better_text,
)

LONG_ANSWER: Final = Answers(reply_name="Wachsraum [1")
ANSWER_7: Final = Answers(reply_name="7")
BY_LINK: Final = Answers(reply_name="", link="https://houses.larch-hollow.example/a/Qm9vay0xMjM0NTY3ODkw")
WENT: Final = Went(person="Maria", local_time="02:10")
LONG_WENT: Final = Went(person="Wilhelmina-Magdalena", local_time="23:57")
USUAL: Final = AlarmFacts(
    room="House 7",
    species="shiitake",
    stage="pins",
    stage_day=2,
    quantity=Quantity.HUMIDITY,
    side=Side.LOW,
    value=78.2,
    limit=85.0,
    minutes=22,
    trend="falling",
    place=None,
    normal=(Quantity.TEMPERATURE, Quantity.CO2),
    first_check="humidifier",
    invented=False,
)
LONGEST: Final = replace(
    USUAL,
    room="Wachsraum [1",
    species="Wintermush",
    stage="Wachsphase",
    stage_day=888,
    place="far door end",
    normal=(Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.WATER_PRESSURE),
    invented=True,
)
USUAL_BACK: Final = BackFacts(
    room="House 7",
    quantity=Quantity.HUMIDITY,
    side=Side.LOW,
    value=90.2,
    local_time="02:51",
    worst=78.1,
    limit=85.0,
    minutes=47,
    invented=False,
)
WIDEST: Final[Mapping[Quantity, tuple[float, float]]] = {
    Quantity.CO2: (49_999.0, 12_500.0),
    Quantity.AIR_PRESSURE: (101_325.0, 99_999.0),
    Quantity.LIGHT: (100_000.0, 99_999.0),
    Quantity.SIGNAL: (-119.0, -110.0),
    Quantity.BATTERY: (2.05, 2.25),
}
"""By quantity a wide value and limit; temperatures and humidity below."""


def figures(quantity: Quantity) -> tuple[float, float]:
    if quantity in CONTACTS:
        return 0.0, 1.0
    return WIDEST.get(quantity, (17.249, 17.25))


def alarms() -> Iterator[AlarmFacts]:
    for quantity, side in product(Quantity, (Side.LOW, Side.HIGH)):
        value, limit = figures(quantity)
        moments: tuple[tuple[float, Trend | None, int], ...] = (
            (value, "falling", 2879), (limit, "steady", 0), (limit * 1.2, None, 99_999),
        )  # fmt: skip
        for now, trend, minutes in moments:
            yield replace(
                LONGEST,
                quantity=quantity,
                side=side,
                value=now,
                limit=limit,
                trend=trend,
                minutes=minutes,
            )
    for check in (*ENGLISH.first_check, "look at the far pump, the strainer and the tank", None):
        yield replace(LONGEST, first_check=check)
        yield replace(USUAL, first_check=check, normal=())
    for stage in PHRASES_IN["es"].stage:
        yield replace(USUAL, stage=stage)
    yield replace(USUAL, room="Cooler 1", species="", stage="", stage_day=None)


def ends() -> Iterator[BackFacts]:
    for quantity, side, in_band, past in product(Quantity, (Side.LOW, Side.HIGH), (True, False), (True, False)):
        value, limit = figures(quantity)
        yield replace(
            USUAL_BACK,
            room="Wachsraum [1",
            quantity=quantity,
            side=side,
            value=value,
            worst=limit * (0.5 if (side is Side.LOW) is past else 1.2),
            limit=limit,
            minutes=2879,
            invented=True,
            in_band=in_band,
        )


def readers(language: Language) -> Iterator[Reader]:
    for units, answers in product(("us", "metric"), (LONG_ANSWER, ANSWER_7, BY_LINK, None)):
        yield Reader(units="us" if units == "us" else "metric", language=language, answers=answers)


def usual_reader(language: Language) -> Reader:
    return Reader(units="us", language=language, answers=ANSWER_7)


def _trouble(language: Language) -> Iterable[str]:
    yield alarm_text(USUAL, usual_reader(language))
    yield from (alarm_text(facts, reader) for facts in alarms() for reader in readers(language))


def _deeper(language: Language) -> Iterable[str]:
    yield deeper_text(USUAL, usual_reader(language))
    yield from (deeper_text(facts, reader) for facts in alarms() for reader in readers(language))


def _no_better(language: Language) -> Iterable[str]:
    yield no_better_text(USUAL, WENT, usual_reader(language))
    yield from (no_better_text(facts, LONG_WENT, reader) for facts in alarms() for reader in readers(language))


def _back(language: Language) -> Iterable[str]:
    yield back_text(USUAL_BACK, usual_reader(language))
    yield from (back_text(facts, reader) for facts in ends() for reader in readers(language))


EVERY: Final[Mapping[str, Callable[[Language], Iterable[str]]]] = {
    "trouble": _trouble,
    "deeper": _deeper,
    "no improvement of a room": _no_better,
    "back": _back,
}
FIRST_IS_USUAL: Final = True
