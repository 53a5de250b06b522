"""Every text that goes back to somebody who answered, with the longest names that can stand in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import product
from typing import Final

from rules.model import Quantity, Side
from service.wording.answer_phrases import ENGLISH_ANSWERS
from service.wording.answer_texts import AnswerFacts, OpenLine, StatusFacts, answer_text, status_text
from service.wording.language import Language
from service.wording.reader import Reader

ROOM: Final = "Wachsraum 12"
ROOMS: Final = ((ROOM, ROOM), ("House 7", "7"), (None, ""))
PERSON: Final = "Maximilian Hollow"
WITH_CAUTION: Final = frozenset({"going", "going too", "working"})
NAMELESS: Final = frozenset(
    {"which", "nothing", "out nowhere", "here", "texts again", "working all", "stage where"}
)
WHICH: Final = ("going", "cannot", "fixed", "probe", "why")


def facts(result: str) -> Iterator[AnswerFacts]:
    """Every variant of one result."""
    cautions = [None, *ENGLISH_ANSWERS.cautions] if result in WITH_CAUTION else [None]
    options = [(ROOM,) * 4, ("7", "3"), ("7",)] if result == "which" else [()]
    words = WHICH if result == "which" else (None,)
    rooms = ROOMS[:1] if result in NAMELESS else ROOMS
    for (room, reply), caution, option, word, invented in product(rooms, cautions, options, words, (False, True)):
        yield AnswerFacts(
            result=result,
            room=room,
            reply=reply,
            local_time="22:34",
            other_time="23:59",
            person=PERSON,
            stage="incubation",
            word=word,
            options=option,
            caution=caution,
            invented=invented,
        )


def open_lines() -> list[OpenLine]:
    """One of every kind, each as wide as it gets."""
    return [
        OpenLine(name=ROOM, kind="people", quantity=None, side=None, minutes=839),
        OpenLine(name=None, kind="site", quantity=Quantity.MAINS, side=Side.LOW, minutes=839),
        OpenLine(name=None, kind="site", quantity=None, side=None, minutes=839),
        OpenLine(name=ROOM, kind="silence", quantity=None, side=None, minutes=839),
        OpenLine(name=ROOM, kind="out", quantity=None, side=None, minutes=839),
        *(
            OpenLine(name=ROOM, kind="room", quantity=quantity, side=side, minutes=1439)
            for quantity, side in (
                (Quantity.TEMPERATURE, Side.HIGH),
                (Quantity.HUMIDITY, Side.LOW),
                (Quantity.PRODUCT_CORE, Side.HIGH),
                (Quantity.WATER_PRESSURE, Side.LOW),
            )
        ),
    ]


def statuses() -> Iterator[StatusFacts]:
    """Nothing open, each thing alone, and all of them at once; every way of having heard."""
    lines = open_lines()
    heard: list[tuple[int | None, str | None, bool]] = [
        (4, "h7-door", True),
        (3 * 24 * 60, "north-bench-probe-0012", False),
        (None, "north-bench-probe-0012", False),
        (None, None, False),
    ]
    several = [(), *((line,) for line in lines), tuple(lines[:2]), tuple(lines)]
    for lines_open, (minutes, probe, lately), invented in product(several, heard, (False, True)):
        yield StatusFacts(
            open=lines_open,
            local_time="22:34",
            longest_minutes=minutes,
            longest_probe=probe,
            lately=lately,
            invented=invented,
        )


def _answers(result: str) -> Callable[[Language], Iterable[str]]:
    def texts(language: Language) -> Iterable[str]:
        return [answer_text(one, Reader(units="us", language=language)) for one in facts(result)]

    return texts


def _statuses(language: Language) -> Iterable[str]:
    return [status_text(one, Reader(units="us", language=language)) for one in statuses()]


EVERY: Final[Mapping[str, Callable[[Language], Iterable[str]]]] = {
    **{f"answer: {result}": _answers(result) for result in ENGLISH_ANSWERS.results},
    "answer: status": _statuses,
}
