"""Every text about what is not heard, with the longest names and the widest figures that can stand in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from itertools import product
from typing import Final

from rules.model import Quantity, Side
from service.wording.language import Language
from service.wording.reader import WHOLE_FARM, Answers, Reader
from service.wording.silence_texts import (
    SILENCE_IN,
    HeardFacts,
    LastHeard,
    SilenceFacts,
    heard_text,
    silence_text,
)
from service.wording.units import Units

ROOM: Final = "Wachsraum 12"
LONG: Final = "Nordgewächshaus-Gateway 12"
SINCE: Final = "2026-11-25 22:10"
ROOMS: Final = ((ROOM,), ("House 1", "House 2"), (ROOM,) * 48)
WATCHED: Final = ((Quantity.HUMIDITY,), (Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.CO2))
LAST: Final = (
    None,
    LastHeard(quantity=Quantity.HUMIDITY, side=Side.LOW, value=18.4, limit=87.5, local_time=SINCE),
    LastHeard(quantity=Quantity.TEMPERATURE, side=Side.HIGH, value=41.93, limit=17.25, local_time=SINCE),
    LastHeard(quantity=Quantity.CO2, side=Side.HIGH, value=49_999.0, limit=12_500.0, local_time=SINCE),
)
UNITS: Final[tuple[Units, ...]] = ("us", "metric")
ANSWERS: Final = (
    None,
    Answers(reply_name="7"),
    Answers(reply_name=ROOM),
    Answers(reply_name="farm"),
    Answers(reply_name="", link="https://houses.larch-hollow.example/a/Qm9vay0xMjM0NTY3ODkw"),
)
SCOPES: Final = tuple(SILENCE_IN["en"].silent)


def _silent(scope: str) -> Iterable[SilenceFacts]:
    name = ROOM if scope == "room" else LONG
    of_rooms = WATCHED if scope == "room" else ((),)
    lasts = LAST if scope == "room" else (None,)
    for rooms, quantities, last, by_http, invented in product(
        ROOMS, of_rooms, lasts, (False, True), (False, True)
    ):
        yield SilenceFacts(
            scope=scope,
            name=name,
            rooms=rooms,
            since=SINCE,
            quantities=quantities,
            last=last,
            by_http=by_http,
            invented=invented,
        )


def _silence(scope: str) -> Callable[[Language], Iterable[str]]:
    def texts(language: Language) -> Iterable[str]:
        usual = Answers(reply_name="4" if scope == "room" else WHOLE_FARM)
        yield silence_text(_usual(scope), Reader(units="us", language=language, answers=usual))
        for facts, answers, units in product(_silent(scope), ANSWERS, UNITS):
            yield silence_text(facts, Reader(units=units, language=language, answers=answers))

    return texts


def _usual(scope: str) -> SilenceFacts:
    return SilenceFacts(
        scope=scope,
        name="House 4" if scope == "room" else "north",
        rooms=("House 4",) if scope == "room" else ("House 1", "House 2"),
        since="01:10",
        quantities=(Quantity.HUMIDITY,) if scope == "room" else (),
        last=None,
        by_http=False,
        invented=False,
    )


def _usually_heard(scope: str) -> HeardFacts:
    return HeardFacts(
        scope=scope,
        name="House 4" if scope == "room" else "north",
        rooms=("House 4",),
        still=(),
        until="01:31",
        minutes=21,
        invented=False,
    )


def _heard(scope: str) -> Callable[[Language], Iterable[str]]:
    def texts(language: Language) -> Iterable[str]:
        reader = Reader(units="us", language=language)
        yield heard_text(_usually_heard(scope), reader)
        for rooms, still, invented in product(ROOMS, ((), *ROOMS), (False, True)):
            facts = HeardFacts(
                scope=scope,
                name=ROOM if scope == "room" else LONG,
                rooms=rooms,
                still=still,
                until=SINCE,
                minutes=839,
                invented=invented,
            )
            yield heard_text(facts, reader)

    return texts


FIRST_IS_USUAL: Final = True
EVERY: Final[Mapping[str, Callable[[Language], Iterable[str]]]] = {
    **{f"silence of a {scope}": _silence(scope) for scope in SCOPES},
    **{f"heard again: {scope}": _heard(scope) for scope in SCOPES},
}
