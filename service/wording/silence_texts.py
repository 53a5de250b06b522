"""The texts about what is not heard: the whole site, a gateway, our own line, a house that nothing can be said of.

Blind is not calm: every text says what cannot be known, since when, and where to look first. Names of houses are
shortened to a number before anything else goes; which thing is silent, and since when, never go. What is heard
again is said as that and no more: nobody knows what happened meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from rules.model import CONTACTS, Quantity, Side
from service.wording.fitting import ROOM_SEPTETS, bounded, capital, joined, replies, told_alike
from service.wording.format import clock, duration, limit_in_text, value_in_text
from service.wording.language import Language
from service.wording.phrases import PHRASES_IN, Phrases
from service.wording.reader import Reader

NAME_SEPTETS: Final = 16
"""Of a gateway or probe."""
_TIME_SEPTETS: Final = 16
_TODAY: Final = timedelta(hours=20)
_THIS_WEEK: Final = timedelta(days=6)
_MOST_NAMES: Final = 4
_MOST_QUANTITIES: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class LastHeard:
    """What a limit that is passed showed when it was last heard of."""

    quantity: Quantity
    side: Side
    value: float
    limit: float
    local_time: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SilenceFacts:
    """What is known of something that is not heard."""

    scope: str
    name: str
    """The house, gateway or probe; the site and the broker need none."""
    rooms: tuple[str, ...]
    since: str
    """The farm's time at which the last of it was heard, with the day where that is not today."""
    quantities: tuple[Quantity, ...] = ()
    last: LastHeard | None = None
    by_http: bool = False
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardFacts:
    """What is known of something that is heard again."""

    scope: str
    name: str
    rooms: tuple[str, ...]
    still: tuple[str, ...]
    """Houses that are not heard yet."""
    until: str
    minutes: int
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SilencePhrases:
    """All phrases of one language, by what is silent."""

    silent: Mapping[str, str]
    by_http: str
    """In place of the broker's own, on a farm whose readings also come by HTTP."""
    first: Mapping[str, str]
    """Where to look first."""
    last: str
    heard: Mapping[str, str]
    look: str
    still: str
    houses: tuple[str, str]
    """Instead of names: one house, several."""
    weekdays: tuple[str, ...]
    """From Monday, in three letters."""


ENGLISH_SILENCE: Final = SilencePhrases(
    silent={
        "site": "No readings from {rooms} since {since}, all at once: likely power or network, not climate.",
        "gateway": "Gateway {name} not heard since {since}: {rooms} cannot be watched through it.",
        "room": "{name}: {what} not heard since {since}, so we cannot say how it is.",
        "probe": "Probe {name} in {rooms} not heard since {since}.",
        "broker": "Houseband does not hear its broker since {since}: it hears no house.",
        "houseband": "Houseband was not running from {since}: nothing was heard meanwhile.",
    },
    by_http="Houseband does not hear its broker since {since}: no house is watched meanwhile.",
    first={
        "site": "Check power first, then network.",
        "gateway": "Check its power and network.",
        "room": "Check probe and its power, then look at the house.",
        "probe": "Check probe and its power.",
        "broker": "Check power and network at the computer.",
        "houseband": "Check power at the computer.",
    },
    last="Last {what} {value}, {side} limit {limit}, at {time}.",
    heard={
        "site": "Readings again since {until}, after {duration} without.",
        "gateway": "Gateway {name} heard again since {until}, after {duration}.",
        "room": "{name} heard again since {until}, after {duration} without readings.",
        "probe": "Probe {name} heard again since {until}, after {duration}.",
        "broker": "Houseband hears its broker again since {until}, after {duration}.",
        "houseband": "Houseband runs again since {until}, after {duration}.",
    },
    look="Look at what it shows now.",
    still="Still not heard: {rooms}.",
    houses=("1 house", "{count} houses"),
    weekdays=("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
)
SPANISH_SILENCE: Final = SilencePhrases(
    silent={
        "site": "Sin lecturas de {rooms} desde {since}, todo a la vez: quizas luz o red, no clima.",
        "gateway": "Enlace {name} sin respuesta desde {since}: {rooms} sin vigilar por el.",
        "room": "{name}: sin lecturas de {what} desde {since}, no sabemos como esta.",
        "probe": "Sonda {name} de {rooms} sin lecturas desde {since}.",
        "broker": "Houseband no oye a su broker desde {since}: no oye ninguna casa.",
        "houseband": "Houseband no funcionaba desde {since}: nada se oia entretanto.",
    },
    by_http="Houseband no oye a su broker desde {since}: ninguna casa se vigila.",
    first={
        "site": "Revise primero la luz, luego la red.",
        "gateway": "Revise su luz y su red.",
        "room": "Revise la sonda y su luz, luego vea la casa.",
        "probe": "Revise la sonda y su luz.",
        "broker": "Revise luz y red de la computadora.",
        "houseband": "Revise la luz de la computadora.",
    },
    last="Ultima {what} {value}, {side} limite {limit}, {time}.",
    heard={
        "site": "Hay lecturas otra vez desde {until}, tras {duration} sin ellas.",
        "gateway": "Enlace {name} se oye otra vez desde {until}, tras {duration}.",
        "room": "{name} se oye otra vez desde {until}, tras {duration} sin lecturas.",
        "probe": "Sonda {name} se oye otra vez desde {until}, tras {duration}.",
        "broker": "Houseband oye otra vez a su broker desde {until}, tras {duration}.",
        "houseband": "Houseband funciona otra vez desde {until}, tras {duration}.",
    },
    look="Vea lo que muestra ahora.",
    still="Sin lecturas todavia: {rooms}.",
    houses=("1 casa", "{count} casas"),
    weekdays=("lun", "mar", "mie", "jue", "vie", "sab", "dom"),
)
SILENCE_IN: Final[Mapping[Language, SilencePhrases]] = {"en": ENGLISH_SILENCE, "es": SPANISH_SILENCE}


def time_in_text(then: datetime, now: datetime, language: Language) -> str:
    """A time of day; with the day where it would be taken for today's, with the date where for this week's."""
    if now - then < _TODAY:
        return clock(then)
    if now - then < _THIS_WEEK:
        return f"{SILENCE_IN[language].weekdays[then.weekday()]} {clock(then)}"
    return f"{then.date().isoformat()} {clock(then)}"


def silence_text(facts: SilenceFacts, reader: Reader) -> str:
    """What is not heard, for one person."""
    return told_alike(lambda one: _silence_fullest_first(facts, one), reader)


def heard_text(facts: HeardFacts, reader: Reader) -> str:
    """What is heard again, for those who were woken."""
    return told_alike(lambda one: _heard_fullest_first(facts, one), reader)


def _silence_fullest_first(facts: SilenceFacts, reader: Reader) -> Iterator[str]:
    said, phrases = SILENCE_IN[reader.language], PHRASES_IN[reader.language]
    last = _last(facts.last, said, reader)
    first = said.first[facts.scope]
    end = phrases.invented if facts.invented else ""
    named, bare = replies(reader.answers, phrases)
    heads = [_head(facts, rooms, said, phrases) for rooms in _rooms(facts.rooms, said)]
    for clauses in ((last, first, named), (last, named), (last, first, bare), (last, bare), (bare,)):
        yield from (joined(head, *clauses, end) for head in heads)


def _head(facts: SilenceFacts, rooms: str, said: SilencePhrases, phrases: Phrases) -> str:
    sentence = said.by_http if facts.scope == "broker" and facts.by_http else said.silent[facts.scope]
    what = ", ".join(phrases.quantity[q] for q in facts.quantities[:_MOST_QUANTITIES])
    return sentence.format(
        name=bounded(facts.name, NAME_SEPTETS),
        rooms=rooms,
        what=what,
        since=bounded(facts.since, _TIME_SEPTETS),
    )


def _last(last: LastHeard | None, said: SilencePhrases, reader: Reader) -> str:
    if last is None or last.quantity in CONTACTS:
        return ""
    phrases = PHRASES_IN[reader.language]
    return said.last.format(
        what=phrases.quantity[last.quantity],
        value=value_in_text(last.quantity, last.value, last.limit, reader.units),
        side=(phrases.beyond if _outside(last) else phrases.beyond_no_longer)[last.side],
        limit=limit_in_text(last.quantity, last.limit, reader.units),
        time=bounded(last.local_time, _TIME_SEPTETS),
    )


def _outside(last: LastHeard) -> bool:
    return last.value < last.limit if last.side is Side.LOW else last.value > last.limit


def _heard_fullest_first(facts: HeardFacts, reader: Reader) -> Iterator[str]:
    said, phrases = SILENCE_IN[reader.language], PHRASES_IN[reader.language]
    head = said.heard[facts.scope].format(
        name=bounded(facts.name, NAME_SEPTETS),
        until=bounded(facts.until, _TIME_SEPTETS),
        duration=duration(facts.minutes, phrases),
    )
    end = phrases.invented if facts.invented else ""
    if not facts.still:
        yield joined(head, said.look if facts.scope == "room" else "", end)
    for rooms in _rooms(facts.still, said):
        yield joined(head, capital(said.still.format(rooms=rooms)), end)


def _rooms(names: tuple[str, ...], said: SilencePhrases) -> Iterator[str]:
    """The names of houses, fewer and fewer, and at last only how many."""
    short = [bounded(name, ROOM_SEPTETS) for name in names]
    for count in range(min(len(short), _MOST_NAMES), 0, -1):
        rest = f" +{len(short) - count}" if count < len(short) else ""
        yield ", ".join(short[:count]) + rest
    one, several = said.houses
    yield one if len(short) == 1 else several.format(count=len(short))
