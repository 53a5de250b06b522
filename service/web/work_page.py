"""Who works in a room and what is left until when: what the page shows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from pydantic import BaseModel

from rules.model import EDGES, HOUR_MS, Quantity, Side
from service.reports.words import Words
from service.storage.holds import HoldRow
from service.storage.rows import Record
from service.watch.room_now import RoomNow
from service.web.crop_page import Choice
from service.web.room_page import Person
from service.wording.format import on_page
from service.wording.sentences import capital

WORK_HOURS: Final = (1, 2, 4, 8, 12)
LEAVE_HOURS: Final = (1, 2, 4, 8, 12, 24)
EVERY: Final = "every"
"""In the form: all crop limits of the room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkPage:
    """The whole page."""

    room_id: str
    name: str
    on: list[Choice]
    """What is held back here now, by its id."""
    work_hours: list[Choice]
    leave_hours: list[Choice]
    limits: list[Choice]
    people: list[Person]


class Asked(BaseModel):
    """What any of the page's forms asks for."""

    act: str = ""
    person_id: str = ""
    hours: str = ""
    limit: str = ""
    why: str = ""
    hold_id: str = ""


def work_page(
    room: Record, present: RoomNow, on: Iterable[HoldRow], words: Words, *, people: Sequence[Record], whoever: str
) -> WorkPage:
    """Put on paper who works in a room and what is left."""
    return WorkPage(
        room_id=room["room_id"],
        name=room["name"],
        on=[Choice(value=row.hold_id, words=capital(words.hold(row))) for row in on],
        work_hours=_hours(WORK_HOURS, words),
        leave_hours=_hours(LEAVE_HOURS, words),
        limits=[
            Choice(value=EVERY, words="every crop limit"),
            *(_limit(*key, held.near.limit, words) for key, held in sorted(present.limits.limits.items())),
        ],
        people=[
            Person(person_id=p["person_id"], name=p["name"], chosen=p["person_id"] == whoever)
            for p in people
            if p["active"]
        ],
    )


def limit_of(value: str) -> tuple[Quantity | None, Side | None] | None:
    """The limit that a form names: one, or (nothing twice) all; ``None`` when it names none."""
    if value == EVERY:
        return None, None
    quantity, _, side = value.partition("/")
    known = quantity in set(Quantity) and side in set(EDGES)
    return (Quantity(quantity), Side(side)) if known else None


def _hours(every: Iterable[int], words: Words) -> list[Choice]:
    return [
        Choice(value=str(hours), words=f"{words.moment(words.now_ms + hours * HOUR_MS)}, {hours} h from now")
        for hours in every
    ]


def _limit(quantity: Quantity, side: Side, limit: float, words: Words) -> Choice:
    said = words.language[1]
    edge = on_page(quantity, limit, words.units)
    return Choice(
        value=f"{quantity.value}/{side.value}", words=f"{said.quantity[quantity]} {said.beyond[side]} {edge}"
    )
