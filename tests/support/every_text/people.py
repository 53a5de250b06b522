"""Every text about limits for people, with the longest names and the widest figures that can stand in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from itertools import product
from typing import Final

from service.wording.language import Language
from service.wording.people_texts import (
    ENGLISH_PEOPLE,
    DangerFacts,
    UnderFacts,
    WentIn,
    danger_text,
    under_text,
)
from service.wording.reader import Answers, Reader

ANSWER_7: Final = Answers(reply_name="7")
ANSWERS: Final = (Answers(reply_name="Wachsraum [1"), ANSWER_7, None)
WENT: Final = WentIn(person="Maria", local_time="02:10")
LONG_WENT: Final = WentIn(person="Wilhelmina-Magdalena", local_time="23:57")
USUAL: Final = DangerFacts(
    room="House 7",
    level="15 minutes",
    value_ppm=31_666.7,
    at_least=False,
    limit_ppm=30_000,
    somebody_inside=False,
    invented=False,
)
USUAL_UNDER: Final = UnderFacts(
    room="House 7", value_ppm=850.2, at_least=False, local_time="03:40", invented=False
)


def dangers() -> Iterator[DangerFacts]:
    for level, at_least, inside, invented in product(ENGLISH_PEOPLE.by, *((True, False),) * 3):
        yield DangerFacts(
            room="Wachsraum [1",
            level=level,
            value_ppm=210_000,
            at_least=at_least,
            limit_ppm=40_000,
            somebody_inside=inside,
            invented=invented,
        )
        yield replace(USUAL, level=level, at_least=at_least, somebody_inside=inside)


def readers(language: Language) -> Iterator[Reader]:
    for answers in ANSWERS:
        yield Reader(units="us", language=language, answers=answers)


def usual_reader(language: Language) -> Reader:
    return Reader(units="us", language=language, answers=ANSWER_7)


def _danger(language: Language) -> Iterable[str]:
    yield danger_text(USUAL, usual_reader(language))
    yield from (danger_text(facts, reader) for facts in dangers() for reader in readers(language))


def _no_better(language: Language) -> Iterable[str]:
    yield danger_text(USUAL, usual_reader(language), WENT)
    yield from (danger_text(facts, reader, LONG_WENT) for facts in dangers() for reader in readers(language))


def _under(language: Language) -> Iterable[str]:
    reader = usual_reader(language)
    yield under_text(USUAL_UNDER, reader)
    for at_least, invented in product((True, False), (True, False)):
        yield under_text(
            UnderFacts(
                room="Wachsraum [1",
                value_ppm=210_000,
                at_least=at_least,
                local_time="23:57",
                invented=invented,
            ),
            reader,
        )


EVERY: Final[Mapping[str, Callable[[Language], Iterable[str]]]] = {
    "danger": _danger,
    "no improvement of danger": _no_better,
    "back under the people limit": _under,
}
FIRST_IS_USUAL: Final = True
