"""Every text about people on the way, with the longest names and the widest figures that can stand in it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import product
from typing import Final

from service.wording.chain_texts import (
    NotOutFacts,
    StillFacts,
    TrialFacts,
    TrialKind,
    came_out_text,
    not_out_text,
    opted_out_text,
    out_again_text,
    plain_text,
    still_text,
    taken_text,
    trial_text,
)
from service.wording.language import Language
from service.wording.reader import Answers, Reader

ANSWER_7: Final = Answers(reply_name="7")
ANSWERS: Final = (
    ANSWER_7,
    Answers(reply_name="Wachsraum [1"),
    Answers(reply_name="farm"),
    None,
)
PEOPLE: Final = ("Maria", "Wilhelmina-Magdalena", "Maria Fernanda Lopez Castañeda")
ROOMS: Final = ("House 7", "Wachsraum [1", None)


def readers(language: Language) -> Iterator[Reader]:
    for answers in ANSWERS:
        yield Reader(units="us", language=language, answers=answers)


def _taken(language: Language) -> Iterable[str]:
    for person, room, invented in product(PEOPLE, ROOMS, (False, True)):
        yield taken_text(person=person, room=room, invented=invented, reader=next(readers(language)))


def _out_again(language: Language) -> Iterable[str]:
    for (room, reply), invented in product(
        (("House 7", "7"), ("Wachsraum [1", "Wachsraum [1"), (None, "")), (False, True)
    ):
        yield out_again_text(
            room=room, reply=reply, local_time="03:25", invented=invented, reader=next(readers(language))
        )


def _came_out(language: Language) -> Iterable[str]:
    for person, room, invented in product(PEOPLE, ROOMS, (False, True)):
        yield came_out_text(person=person, room=room, invented=invented, reader=next(readers(language)))


def _still(language: Language) -> Iterable[str]:
    many = tuple(f"Wachsraum{n:03}" for n in range(1, 31))
    for rooms, person, invented in product((("House 3", "House 7"), many, ()), PEOPLE, (False, True)):
        facts = StillFacts(rooms=rooms, since="01:10", person=person, went="02:10", invented=invented)
        yield from (still_text(facts, reader) for reader in readers(language))


def _not_out(working: bool) -> Callable[[Language], Iterable[str]]:  # noqa: FBT001 - which of two texts
    def texts(language: Language) -> Iterable[str]:
        phones = ("+15551234567", "+123456789012345", None)
        for person, room, phone, invented in product(PEOPLE, ROOMS, phones, (False, True)):
            facts = NotOutFacts(
                person=person,
                phone=phone,
                room=room,
                since="02:10",
                until="22:55",
                working=working,
                invented=invented,
            )
            yield from (not_out_text(facts, reader) for reader in readers(language))

    return texts


def _trial(kind: TrialKind) -> Callable[[Language], Iterable[str]]:
    def texts(language: Language) -> Iterable[str]:
        for farm, asks, invented in product(("Alder Spring Farm", "W" * 40), (True, False), (False, True)):
            facts = TrialFacts(kind=kind, farm=farm, local_time="10:04", asks=asks, invented=invented)
            yield trial_text(facts, next(readers(language)))

    return texts


def _opted_out(language: Language) -> Iterable[str]:
    for person, invented in product(PEOPLE, (False, True)):
        yield opted_out_text(person=person, invented=invented, reader=next(readers(language)))


def _plain(language: Language) -> Iterable[str]:
    for room, danger in product(ROOMS, (False, True)):
        yield plain_text(room=room, danger=danger, language=language)


EVERY: Final[Mapping[str, Callable[[Language], Iterable[str]]]] = {
    "taken": _taken,
    "came out": _came_out,
    "out again?": _out_again,
    "no improvement of the farm or of silence": _still,
    "look after: was going": _not_out(working=False),
    "look after: was working": _not_out(working=True),
    "trial, weekly or by hand": _trial("weekly"),
    "trial, night ring": _trial("night ring"),
    "opted out": _opted_out,
    "facts that could not be put into words": _plain,
}
FIRST_IS_USUAL: Final = True
