"""The two-line text of the morning: how the night was, and what is still wrong or who is on call.

One segment, so clauses go when room runs short: the names of other rooms become their number, then who is on call
tonight goes, then the count of quiet rooms. The worst room, its figures and what is still wrong never go. It calls
rooms quiet only when they were heard and nothing was told of them; and of a room with too much CO2 it says what
to do before going in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.model import CONTACTS, Quantity, Side
from service.wording.fitting import ROOM_SEPTETS, bounded, joined, person_name, told_alike
from service.wording.format import duration, limit_in_text, value_in_text
from service.wording.language import Language
from service.wording.phrases import PHRASES_IN, Phrases
from service.wording.reader import Reader

_WORD_SEPTETS: Final = 10
_MOST_ALSO: Final = 3
_MOST_OPEN: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """The worst time of the worst room."""

    quantity: Quantity
    side: Side
    edge: float
    """The text limit if it was passed, else the edge of the band."""
    minutes: int
    local_time: str
    """When it began."""
    worst: float
    over: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenThing:
    """A limit that is passed in the morning."""

    room: str
    quantity: Quantity
    side: Side


@dataclass(frozen=True, slots=True, kw_only=True)
class MorningFacts:
    """What was known when the morning's text was written."""

    worst_room: str | None
    """``None`` after a quiet night."""
    spell: Spell | None
    """``None`` where the worst room was only told of, or could not be judged."""
    people_from: str | None
    """When a limit for people was first passed in the worst room."""
    unheard: tuple[Quantity, ...]
    """Of which nothing is heard in the worst room, where that is the worst."""
    also: tuple[str, ...]
    """Other rooms that were not quiet."""
    quiet: int
    open: tuple[OpenThing, ...]
    not_heard: tuple[str, ...]
    """Rooms that cannot be judged now."""
    on_call: str | None
    """Who is first on call tonight."""
    room_word: str
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MorningPhrases:
    """All phrases of one language."""

    spell: str
    spell_going_on: str
    people: str
    unheard: str
    told_only: str
    also: str
    also_count: str
    quiet: tuple[str, str]
    """For one room, for several."""
    all_quiet: str
    still: str
    still_one: str
    still_people: str
    more: str
    cannot_say: str
    nothing_open: str
    on_call: str


_ENGLISH: Final = MorningPhrases(
    spell="Last night: {room} worst: {what} {beyond} {edge} for {duration} from {time}, {worst_word} {worst}.",
    spell_going_on="Last night: {room} worst: {what} {beyond} {edge} since {time}, {worst_word} {worst}.",
    people="Last night: {room} worst: CO2 over the people limit from {time}. Air out first, not in alone.",
    unheard="Last night: {room}: nothing heard of {what}.",
    told_only="Last night: {room} worst: past a limit for a short time.",
    also="Also {names}.",
    also_count="Also {count} more.",
    quiet=("1 {word} quiet.", "{count} {word}s quiet."),
    all_quiet="Last night was quiet.",
    still="Still: {things}.",
    still_one="{room} {what} {side}",
    still_people="{room} CO2, people limit",
    more="{count} more",
    cannot_say="Not heard: {names}.",
    nothing_open="Nothing open.",
    on_call="Tonight: {name}.",
)
_SPANISH: Final = MorningPhrases(
    spell="Anoche: {room} la peor: {what} {beyond} {edge} por {duration} desde {time}, {worst_word} {worst}.",
    spell_going_on="Anoche: {room} la peor: {what} {beyond} {edge} desde {time}, {worst_word} {worst}.",
    people="Anoche: {room} la peor: CO2 sobre limite de personas desde {time}. Ventile antes, no entre solo.",
    unheard="Anoche: {room}: no llega nada de {what}.",
    told_only="Anoche: {room} la peor: poco tiempo fuera de un limite.",
    also="Tambien {names}.",
    also_count="Y {count} mas.",
    quiet=("1 sin novedad.", "{count} sin novedad."),
    all_quiet="Anoche no hubo novedad.",
    still="Sigue: {things}.",
    still_one="{room} {what} {side}",
    still_people="{room} CO2, personas",
    more="{count} mas",
    cannot_say="Sin lecturas: {names}.",
    nothing_open="Nada pendiente.",
    on_call="Esta noche: {name}.",
)
MORNING_IN: Final[Mapping[Language, MorningPhrases]] = {"en": _ENGLISH, "es": _SPANISH}


def morning_text(facts: MorningFacts, reader: Reader) -> str:
    """Two lines in one segment."""
    return told_alike(lambda one: _ladder(facts, one), reader)


def _ladder(facts: MorningFacts, reader: Reader) -> Iterator[str]:
    """From the fullest to the shortest."""
    said, phrases = MORNING_IN[reader.language], PHRASES_IN[reader.language]
    night, quiet = _night(facts, reader, said, phrases), _quiet(facts, said)
    on_call = said.on_call.format(name=person_name(facts.on_call)) if facts.on_call else ""
    full, short = (phrases.invented, phrases.invented_short) if facts.invented else ("", "")
    several, one = (_still(facts, said, phrases, most) for most in (_MOST_OPEN, 1))
    names, count = _also(facts.also, said), _also_count(len(facts.also), said)
    for first, second in (
        ((night, names, quiet), (several, on_call, full)),
        ((night, count, quiet), (several, on_call, full)),
        ((night, count, quiet), (several, full)),
        ((night, count, quiet), (one, short)),
        ((night,), (one, short)),
    ):
        yield f"{joined(*first)}\n{joined(*second)}"


def _night(facts: MorningFacts, reader: Reader, said: MorningPhrases, phrases: Phrases) -> str:
    if facts.worst_room is None:
        return said.all_quiet
    room = bounded(facts.worst_room, ROOM_SEPTETS)
    if facts.people_from is not None:
        return said.people.format(room=room, time=facts.people_from)
    if facts.spell is not None:
        return _spell(facts.spell, room, reader, said, phrases)
    if facts.unheard:
        return said.unheard.format(room=room, what=phrases.quantity[facts.unheard[0]])
    return said.told_only.format(room=room)


def _spell(spell: Spell, room: str, reader: Reader, said: MorningPhrases, phrases: Phrases) -> str:
    return (said.spell if spell.over else said.spell_going_on).format(
        room=room,
        what=phrases.quantity[spell.quantity],
        beyond=phrases.beyond[spell.side],
        edge=limit_in_text(spell.quantity, spell.edge, reader.units),
        duration=duration(max(spell.minutes, 1), phrases),
        time=spell.local_time,
        worst_word=phrases.worst[spell.side].lower(),
        worst=value_in_text(spell.quantity, spell.worst, spell.edge, reader.units),
    )


def _also(names: Sequence[str], said: MorningPhrases) -> str:
    return said.also.format(names=_some(names, said, _MOST_ALSO)) if names else ""


def _also_count(count: int, said: MorningPhrases) -> str:
    return said.also_count.format(count=count) if count else ""


def _quiet(facts: MorningFacts, said: MorningPhrases) -> str:
    if not facts.quiet:
        return ""
    one, several = said.quiet
    word = bounded(facts.room_word, _WORD_SEPTETS)
    return (one if facts.quiet == 1 else several).format(count=facts.quiet, word=word)


def _still(facts: MorningFacts, said: MorningPhrases, phrases: Phrases, most: int) -> str:
    if facts.open:
        things = [_open_thing(one, said, phrases) for one in facts.open]
        return said.still.format(things=_listed(things, said, most))
    if facts.not_heard:
        return said.cannot_say.format(names=_some(facts.not_heard, said, most))
    return said.nothing_open


def _open_thing(thing: OpenThing, said: MorningPhrases, phrases: Phrases) -> str:
    room = bounded(thing.room, ROOM_SEPTETS)
    if thing.side is Side.PEOPLE:
        return said.still_people.format(room=room)
    side = "" if thing.quantity in CONTACTS else phrases.side[thing.side]
    return said.still_one.format(room=room, what=phrases.quantity[thing.quantity], side=side).strip()


def _some(names: Sequence[str], said: MorningPhrases, most: int) -> str:
    return _listed([bounded(name, ROOM_SEPTETS) for name in names], said, most)


def _listed(things: Sequence[str], said: MorningPhrases, most: int) -> str:
    more = [said.more.format(count=len(things) - most)] if len(things) > most else []
    return ", ".join([*things[:most], *more])
