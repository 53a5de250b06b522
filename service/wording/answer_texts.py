"""What we say back to an answer: that it was noted, with the caution that its task needs; or what is open.

Each is one segment, however long the names. Cautions and the mark of invented data never go.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rules.model import CONTACTS, Quantity, Side
from service.wording.answer_phrases import ANSWERS_IN, AnswerPhrases
from service.wording.fitting import ROOM_SEPTETS, bounded, joined, person_name, told_alike
from service.wording.format import duration
from service.wording.phrases import PHRASES_IN, Phrases
from service.wording.reader import Reader

MOST_OPTIONS: Final = 4
_STAGE_SEPTETS: Final = 10
_PROBE_SEPTETS: Final = 16
_WITHOUT_DATA: Final = frozenset({"help"})
"""Results that say nothing about the farm, invented or not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerFacts:
    """What became of an answer."""

    result: str
    """A key of ``AnswerPhrases.results``."""
    room: str | None
    """The room's text name; ``None`` for the whole farm."""
    local_time: str
    """When it was noted."""
    reply: str = ""
    """How an answer names the room."""
    other_time: str = ""
    """Until when, or when it was over."""
    person: str = ""
    """Who was first, or is going."""
    stage: str = ""
    word: str | None = None
    """The word that was said, and is asked for again with a room."""
    options: tuple[str, ...] = ()
    """How answers name what it may have meant."""
    caution: str | None = None
    """A key of ``AnswerPhrases.cautions``."""
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLine:
    """Something that is open."""

    name: str | None
    """``None`` for the whole farm."""
    kind: str
    """``room``, ``people``, ``site``, ``silence`` or ``out``."""
    quantity: Quantity | None
    side: Side | None
    minutes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusFacts:
    """What is open, the worst first, and how lately every probe was heard."""

    open: tuple[OpenLine, ...]
    local_time: str
    longest_minutes: int | None
    """Since the probe that was heard the longest ago was heard; ``None`` where one was never heard."""
    longest_probe: str | None
    """Its name; ``None`` where no probe is in place."""
    lately: bool
    """Whether even that one was heard so lately that it need not be named."""
    invented: bool


def answer_text(facts: AnswerFacts, reader: Reader) -> str:
    return told_alike(lambda one: _fullest_first(facts, one), reader)


def status_text(facts: StatusFacts, reader: Reader) -> str:
    return told_alike(lambda one: _status(facts, one), reader)


def _fullest_first(facts: AnswerFacts, reader: Reader) -> Iterator[str]:
    said, phrases = ANSWERS_IN[reader.language], PHRASES_IN[reader.language]
    cautions = said.cautions[facts.caution] if facts.caution else ("",)
    end = phrases.invented if facts.invented and facts.result not in _WITHOUT_DATA else ""
    fields = _fields(facts, said, phrases)
    for sentence in said.results[facts.result]:
        for caution in cautions:
            yield joined(sentence.format(**fields), caution, end)


def _fields(facts: AnswerFacts, said: AnswerPhrases, phrases: Phrases) -> dict[str, str]:
    reply = bounded(facts.reply, ROOM_SEPTETS)
    stage = bounded(facts.stage, _STAGE_SEPTETS)
    return {
        "room": said.whole_farm if facts.room is None else bounded(facts.room, ROOM_SEPTETS),
        "time": facts.local_time,
        "other": facts.other_time,
        "person": person_name(facts.person),
        "stage": bounded(phrases.stage.get(stage, stage), _STAGE_SEPTETS),
        "say": _say(facts, reply, said),
        "working": joined(reply, said.words["working"]),
    }


def _say(facts: AnswerFacts, reply: str, said: AnswerPhrases) -> str:
    """What to write next."""
    if facts.result == "which" and facts.word is not None:
        names = [bounded(option, ROOM_SEPTETS) for option in facts.options[:MOST_OPTIONS]]
        *most, last = [joined(name, said.words[facts.word]) for name in names]
        return said.either.format(options=", ".join(most), last=last) if most else last
    if facts.result in {"until when", "too long", "working where"}:
        return said.working_all if not reply else joined(reply, said.words["working"])
    return joined(reply, said.words["going" if facts.result == "help" else "out"])


def _status(facts: StatusFacts, reader: Reader) -> Iterator[str]:
    said, phrases = ANSWERS_IN[reader.language], PHRASES_IN[reader.language]
    end = phrases.invented if facts.invented else ""
    heard = _heard(facts, said, phrases)
    entries = [_entry(line, said, phrases) for line in facts.open]
    if not entries:
        yield joined(said.nothing_open.format(time=facts.local_time), heard, end)
    for count in range(len(entries), 0, -1):
        more = len(entries) - count
        sentence = said.open_more if more else said.open
        yield joined(sentence.format(entries=", ".join(entries[:count]), count=more), heard, end)


def _entry(line: OpenLine, said: AnswerPhrases, phrases: Phrases) -> str:
    name = said.whole_farm if line.name is None else bounded(line.name, ROOM_SEPTETS)
    text = said.entry.format(name=name, what=_what(line, said, phrases), duration=duration(line.minutes, phrases))
    return " ".join(text.split())


def _what(line: OpenLine, said: AnswerPhrases, phrases: Phrases) -> str:
    by_kind = {"people": said.people_limit, "silence": said.not_heard_entry, "out": said.still_in}
    if line.kind in by_kind:
        return by_kind[line.kind]
    if line.quantity is None:
        return ""
    if line.quantity in CONTACTS:
        contact = phrases.contact[line.quantity][line.side is Side.HIGH]
        return f"{phrases.quantity[line.quantity]} {contact}"
    what = phrases.short_quantity.get(line.quantity, phrases.quantity[line.quantity])
    return joined(what, phrases.side[line.side] if line.side else "")


def _heard(facts: StatusFacts, said: AnswerPhrases, phrases: Phrases) -> str:
    if facts.longest_probe is None:
        return said.no_probes
    name = bounded(facts.longest_probe, _PROBE_SEPTETS)
    if facts.longest_minutes is None:
        return said.never_heard.format(name=name)
    sentence = said.heard if facts.lately else said.not_heard
    return sentence.format(name=name, duration=duration(max(1, facts.longest_minutes), phrases))
