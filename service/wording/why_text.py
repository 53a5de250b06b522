"""Why somebody was told: the limit, who set it and when, the readings, the wait, and the probe, in one text.

The Spanish is to be confirmed by a native reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from rules.model import CONTACTS, Quantity, Side
from service.wording.fitting import ROOM_SEPTETS, bounded, joined, person_name, told_alike
from service.wording.format import duration, limit_in_text, value_in_text
from service.wording.language import Language
from service.wording.phrases import PHRASES_IN
from service.wording.reader import Reader

MOST_READINGS: Final = 3
_PROBE_SEPTETS: Final = 16
_SHORT_PROBE_SEPTETS: Final = 12
_SHORT_NAME_SEPTETS: Final = 8
_CONTACT_ON: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyFacts:
    """The five facts behind a text about a room."""

    room: str
    quantity: Quantity
    side: Side
    limit: float
    """For a contact: what it should have said, 1 or 0."""
    set_by: str | None
    """Whoever set the limit; none where it came with the species profile, or is the usual one for people."""
    set_on: str
    """The day on the farm's calendar from which it holds, as ``2026-11-03``; empty where that was not kept."""
    readings: tuple[float, ...]
    """The newest up to the moment of the text, oldest first; the last three are said."""
    first_time: str
    """When the first of those three was measured, on the farm's clock."""
    last_time: str
    wait_minutes: int
    """How long beyond the limit before anybody is told, 0 for at once; of a limit for people, its average."""
    probe: str
    """What people call it: its place, else its name on the wire."""
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyPhrases:
    """All phrases of one language."""

    limit: str
    people_limit: str
    should_be: str
    set_by: str
    from_profile: str
    usual: str
    """Of a limit for people that the farm has not set."""
    readings: str
    reading: str
    """Where there is one reading, or all at one time."""
    no_readings: str
    wait: str
    average: str
    """A limit for people stands for an average, and not for a wait."""
    at_once: str
    probe: str


ENGLISH_WHY: Final = WhyPhrases(
    limit="{room} {what}: limit {limit},",
    people_limit="{room} {what}: people limit {limit},",
    should_be="{room} {what}: should be {limit},",
    set_by="set by {person} {day}.",
    from_profile="from the species profile {day}.",
    usual="the usual figure.",
    readings="Read {readings} from {first} to {last}.",
    reading="Read {readings} at {last}.",
    no_readings="No readings.",
    wait="Told after {wait}.",
    average="Average of {wait}.",
    at_once="Told at once.",
    probe="Probe {probe}.",
)

SPANISH_WHY: Final = WhyPhrases(
    limit="{room} {what}: limite {limit},",
    people_limit="{room} {what}: limite personas {limit},",
    should_be="{room} {what}: debe estar {limit},",
    set_by="lo puso {person} {day}.",
    from_profile="del perfil de la especie {day}.",
    usual="la cifra usual.",
    readings="Lecturas {readings} de {first} a {last}.",
    reading="Lectura {readings} a las {last}.",
    no_readings="Sin lecturas.",
    wait="Aviso tras {wait}.",
    average="Promedio de {wait}.",
    at_once="Aviso inmediato.",
    probe="Sonda {probe}.",
)

WHY_IN: Final[Mapping[Language, WhyPhrases]] = {"en": ENGLISH_WHY, "es": SPANISH_WHY}


def why_text(facts: WhyFacts, reader: Reader) -> str:
    """All five facts; where room runs short, readings go from the oldest on, down to the last."""
    return told_alike(lambda one: _fullest_first(facts, one), reader)


def _fullest_first(facts: WhyFacts, reader: Reader) -> Iterator[str]:
    said, phrases = WHY_IN[reader.language], PHRASES_IN[reader.language]
    who = person_name(facts.set_by or "")
    waited = said.average if facts.side is Side.PEOPLE else said.wait
    wait = waited.format(wait=duration(facts.wait_minutes, phrases)) if facts.wait_minutes else said.at_once

    def text(who: str, count: int, invented: str, probe_septets: int = _PROBE_SEPTETS) -> str:
        limit, read = _limit(facts, who, reader), _read(facts, reader, count)
        probe = said.probe.format(probe=bounded(facts.probe, probe_septets))
        return joined(limit, read, wait, probe, invented if facts.invented else "")

    for count in range(MOST_READINGS, 0, -1):
        yield text(who, count, phrases.invented)
    yield text(bounded(who, _SHORT_NAME_SEPTETS), 1, phrases.invented_short, _SHORT_PROBE_SEPTETS)


def _limit(facts: WhyFacts, who: str, reader: Reader) -> str:
    said, phrases = WHY_IN[reader.language], PHRASES_IN[reader.language]
    if facts.quantity in CONTACTS:
        sentence, limit = said.should_be, phrases.contact[facts.quantity][facts.limit >= _CONTACT_ON]
    else:
        sentence = said.people_limit if facts.side is Side.PEOPLE else said.limit
        limit = limit_in_text(facts.quantity, facts.limit, reader.units)
    room = bounded(facts.room, ROOM_SEPTETS)
    came_with = said.usual if facts.side is Side.PEOPLE else said.from_profile
    origin = came_with if facts.set_by is None else said.set_by
    return joined(
        sentence.format(room=room, what=phrases.quantity[facts.quantity], limit=limit),
        origin.format(person=who, day=facts.set_on).replace(" .", "."),
    )


def _read(facts: WhyFacts, reader: Reader, count: int) -> str:
    said = WHY_IN[reader.language]
    kept = facts.readings[-MOST_READINGS:][-count:]
    if not kept:
        return said.no_readings
    values = ", ".join(_value(facts, value, reader) for value in kept)
    has_span = len(kept) == len(facts.readings[-MOST_READINGS:]) > 1 and facts.first_time != facts.last_time
    sentence = said.readings if has_span else said.reading
    return sentence.format(readings=values, first=facts.first_time, last=facts.last_time)


def _value(facts: WhyFacts, value: float, reader: Reader) -> str:
    if facts.quantity in CONTACTS:
        return PHRASES_IN[reader.language].contact[facts.quantity][value >= _CONTACT_ON]
    return value_in_text(facts.quantity, value, facts.limit, reader.units)
