"""What grows in a room: the crops there, what they have in common, and a form to move one in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from pydantic import BaseModel

from rules.profile import Profile
from service.reports.words import Words
from service.storage.rows import Record
from service.watch.sharing import Looked, NothingInCommon, Share, Sharer
from service.web.room_page import Person
from service.wording.sharing_sentences import in_common, least_bad, not_stated, nothing_in_common, stated

BETWEEN: Final = "/"
"""Between profile and stage in a form."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One line of a list to choose from."""

    value: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CropPage:
    """The whole page."""

    room_id: str
    name: str
    here: list[str]
    shared: list[str]
    batches: list[Choice]
    crops: list[Choice]
    people: list[Person]


class Asked(BaseModel):
    """What the form asks for; sent again with ``compromise`` where that is accepted."""

    batch_id: str = ""
    """Empty: a new batch."""
    crop: str = ""
    """Profile and stage."""
    person_id: str = ""
    compromise: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedPage:
    """Why a move was not made, and how it can be made all the same."""

    room_id: str
    name: str
    reasons: list[str]
    least_bad: list[str]
    asked: Asked
    people: list[Person]


def crop_page(
    room: Record,
    looked: Looked,
    words: Words,
    *,
    batches: Iterable[Record],
    profiles: Iterable[Profile],
    people: Sequence[Record],
    whoever: str,
) -> CropPage:
    """Put on paper what grows in a room."""
    newest = sorted(profiles, key=lambda p: p.label)
    labels = {p.name: p.label for p in newest}
    return CropPage(
        room_id=room["room_id"],
        name=room["name"],
        here=[_here(sharer) for sharer in looked.here],
        shared=[_shared(share, looked, words) for share in looked.shares.values() if _is_worth_a_line(share)],
        batches=[
            Choice(value=b["batch_id"], words=f"{b['batch_id']}, {labels.get(b['profile'], b['profile'])}")
            for b in batches
        ],
        crops=[
            Choice(value=f"{p.name}{BETWEEN}{s.name}", words=f"{p.label}, {s.text_name}")
            for p in newest
            for s in p.stages
        ],
        people=_people(people, whoever),
    )


def refused_page(
    room: Record, refused: NothingInCommon, words: Words, *, asked: Asked, people: Sequence[Record]
) -> RefusedPage:
    """Put on paper why nothing was moved."""
    return RefusedPage(
        room_id=room["room_id"],
        name=room["name"],
        reasons=[f"{nothing_in_common(share, words.units)}." for share in refused.shares],
        least_bad=[f"{least_bad(share, words.units)}." for share in refused.shares],
        asked=asked,
        people=_people(people, asked.person_id),
    )


def _here(sharer: Sharer) -> str:
    return f"{sharer.batch}: {sharer.profile.label}, {sharer.stage.text_name}"


def _shared(share: Share, looked: Looked, words: Words) -> str:
    held = looked.compromises.get(share.quantity)
    if held is not None:
        return stated(held.share, words.units, since=words.moment(held.from_ms), name=held.who)
    return not_stated(share, words.units) if share.clashes else in_common(share, words.units)


def _is_worth_a_line(share: Share) -> bool:
    """Two kinds, of something that a room has only one of."""
    return len(share.parts) > 1 and (share.in_common or share.clashes)


def _people(rows: Iterable[Record], chosen: str) -> list[Person]:
    return [
        Person(person_id=p["person_id"], name=p["name"], chosen=p["person_id"] == chosen)
        for p in rows
        if p["active"]
    ]
