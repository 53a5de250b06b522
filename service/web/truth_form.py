"""What a happening was, as the sheet asks for it: one tap each, without JavaScript."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from service.reports.happenings import Happened
from service.reports.note_words import NoteWords, anchor
from service.reports.sheet_notes import SheetNotes
from service.storage.rows import Record
from service.storage.truths import Harm, What
from service.wording.sentences import capital


@dataclass(frozen=True, slots=True, kw_only=True)
class Button:
    """One thing to tap."""

    value: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One happening, what was said of it, and what may be tapped."""

    happening_id: str
    anchor: str
    title: str
    hints: list[str]
    truth: str
    """What was said last; empty while nothing was."""
    is_asked: bool
    """False once everything was said; it can be said anew."""
    what: list[Button]
    harm: list[Button]
    """Asked once it is known what it was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedWhom:
    """Whose word is kept."""

    person_id: str
    """Who uses this browser; empty while nobody has said."""
    name: str
    people: Sequence[Mapping[str, str]]


def asks(notes: SheetNotes, words: NoteWords, room_id: str) -> list[Ask]:
    """What is asked about one room, beside whose name it stands."""
    return [_ask(one, words, words.happened(one)) for one in notes.happened if one.room_id == room_id]


def other_asks(notes: SheetNotes, words: NoteWords, carded: Collection[str]) -> list[Ask]:
    """What is asked about everything else, with its room's name if it is about one."""
    others = [one for one in notes.happened if one.room_id not in carded]
    return [
        _ask(one, words, f"{one.room}: {words.happened(one)}" if one.room else words.happened(one))
        for one in others
    ]


def asked_whom(everyone: Sequence[Record], person_id: str) -> AskedWhom:
    """Who may say what it was: whoever uses this browser, or somebody to be chosen."""
    here = [person for person in everyone if person["active"]]
    me = next((person for person in here if person["person_id"] == person_id), None)
    return AskedWhom(
        person_id=person_id if me else "",
        name=str(me["name"]) if me else "",
        people=[{"person_id": p["person_id"], "name": p["name"], "chosen": ""} for p in here],
    )


def _ask(one: Happened, words: NoteWords, title: str) -> Ask:
    truth = one.truth or {"what": "", "harm": ""}
    all_said = not one.is_asked
    what = [Button(value=word.value, label=words.said.what[word.value]) for word in What]
    harm = [Button(value=word.value, label=words.said.harm[word.value]) for word in Harm]
    return Ask(
        happening_id=one.happening_id,
        anchor=anchor(one),
        title=capital(title),
        hints=words.hints(one),
        truth=words.truth(one),
        is_asked=one.is_asked,
        what=what if all_said or not truth["what"] else [],
        harm=harm if all_said or (truth["what"] and not truth["harm"]) else [],
    )
