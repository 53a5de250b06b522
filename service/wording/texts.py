"""The texts of one room's air, from facts that were frozen when the notice was made.

Every text is one segment of the basic alphabet. The reader has just been woken: which house and crop, what is
wrong, since when, what to look at first, and how to answer, in that order. When room runs short, clauses go whole:
the list of what reads normal, the place in the room, the day of the stage, the trend, the first check, and last of
all the crop. Room, value, limit and duration never go, nor how to answer, the caution where CO2 is high, or the
mark of invented data.

A text says how to answer only to a reader whose answers have been seen to reach us: a promise that is not kept
costs more trust than a missing one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rules.model import CONTACTS, Quantity, Side
from service.wording.fitting import ROOM_SEPTETS, bounded, capital, joined, person_name, replies, told_alike
from service.wording.format import duration, limit_in_text, value_in_text
from service.wording.phrases import PHRASES_IN, Phrases, Trend
from service.wording.reader import Reader
from service.wording.segments import one_line, to_gsm7
from service.wording.units import Units

SPECIES_SEPTETS: Final = 10
STAGE_SEPTETS: Final = 10
_PLACE_SEPTETS: Final = 12
_TIME_SEPTETS: Final = 12
_SHORT_NAME_SEPTETS: Final = 8
_MOST_NORMAL: Final = 3
_LAST_DAY: Final = 999
_CONTACT_ON: Final = 0.5
_HIGH_CO2_PPM: Final = 5000.0
"""From here a text about a crop sends nobody in without a caution (OSHA, 29 CFR 1910.1000, the average of 8 h)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmFacts:
    """What was known when a room had been beyond its limit for long enough, or fell further."""

    room: str
    species: str
    """Empty for a room without a crop, such as a packing cooler; ``stage`` then is too."""
    stage: str
    stage_day: int | None
    quantity: Quantity
    side: Side
    value: float
    limit: float
    minutes: int
    trend: Trend | None
    place: str | None
    """Where in the room the farthest-out probe hangs, when the room has several."""
    normal: tuple[Quantity, ...]
    """The other quantities that read normal at that moment."""
    first_check: str | None
    """A key of ``Phrases.first_check`` or a short phrase of the farm's own."""
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BackFacts:
    """What was known when a room had been back for long enough."""

    room: str
    quantity: Quantity
    side: Side
    value: float
    local_time: str
    worst: float
    limit: float
    minutes: int
    invented: bool
    in_band: bool = True
    """False when the value is past its limit again but still outside the band: then nobody says "in band"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Went:
    """Who is on the way or in there already, and since when."""

    person: str
    local_time: str


def alarm_text(facts: AlarmFacts, reader: Reader) -> str:
    def ladder(one: Reader) -> Iterator[str]:
        said = PHRASES_IN[one.language]
        return _fullest_first(facts, one, said.alarm_contact if facts.quantity in CONTACTS else said.alarm)

    return told_alike(ladder, reader)


def deeper_text(facts: AlarmFacts, reader: Reader) -> str:
    """The same alarm, further out than before."""

    def ladder(one: Reader) -> Iterator[str]:
        said = PHRASES_IN[one.language]
        return _fullest_first(facts, one, said.deeper_contact if facts.quantity in CONTACTS else said.deeper)

    return told_alike(ladder, reader)


def no_better_text(facts: AlarmFacts, went: Went, reader: Reader) -> str:
    """Somebody went, and it is no better: for the next person."""

    def ladder(one: Reader) -> Iterator[str]:
        said = PHRASES_IN[one.language]
        sentence = said.alarm_contact if facts.quantity in CONTACTS else said.alarm
        return _fullest_first(facts, one, sentence, gone=_gone(went, said))

    return told_alike(ladder, reader)


def _gone(went: Went, said: Phrases) -> tuple[str, str]:
    long, short = said.went
    time = bounded(went.local_time, _TIME_SEPTETS)
    return (
        long.format(person=person_name(went.person), time=time),
        short.format(person=bounded(went.person, _SHORT_NAME_SEPTETS), time=time),
    )


def back_text(facts: BackFacts, reader: Reader) -> str:
    """What closes an alarm text, for everyone who was told."""
    return told_alike(lambda one: _back(facts, one), reader)


def _back(facts: BackFacts, reader: Reader) -> Iterator[str]:
    phrases, units = PHRASES_IN[reader.language], reader.units
    said = _back_sentence(facts, phrases).format(
        room=bounded(facts.room, ROOM_SEPTETS),
        what=phrases.quantity[facts.quantity],
        value=_value(facts.quantity, facts.value, facts.limit, units, phrases),
        time=bounded(facts.local_time, _TIME_SEPTETS),
        worst_word=phrases.worst[facts.side],
        worst=_value(facts.quantity, facts.worst, facts.limit, units, phrases),
        beyond=phrases.beyond[facts.side],
        limit=_limit(facts.quantity, facts.worst, facts.limit, units, phrases),
        duration=duration(facts.minutes, phrases),
    )
    caution = _caution(facts.quantity, facts.value, phrases)
    for invented in (phrases.invented, phrases.invented_short):
        yield joined(said, caution, invented if facts.invented else "")


def _back_sentence(facts: BackFacts, phrases: Phrases) -> str:
    if facts.quantity in CONTACTS:
        return phrases.back_contact
    was_past = facts.worst < facts.limit if facts.side is Side.LOW else facts.worst > facts.limit
    if not was_past:
        return phrases.back_limit_moved
    return phrases.back if facts.in_band else phrases.back_past_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kept:
    """Which clauses of the first sentence are still there."""

    place: bool = True
    day: bool = True
    trend: bool = True
    crop: bool = True


def _fullest_first(
    facts: AlarmFacts, reader: Reader, sentence: str, *, gone: tuple[str, str] = ("", "")
) -> Iterator[str]:
    phrases = PHRASES_IN[reader.language]
    check = _first_check(facts.first_check, phrases)
    normal = _normal(facts.normal, phrases)
    alone = phrases.check.format(check=capital(check)) if check else ""
    named, bare = replies(reader.answers, phrases)

    caution = _caution(facts.quantity, facts.value, phrases)

    def text(
        kept: _Kept, clause: str = "", *, went: str = gone[0], reply: str = named, invented: str = phrases.invented
    ) -> str:
        core = _core(facts, reader.units, phrases, sentence, kept)
        return joined(core, went, clause, caution, reply, invented if facts.invented else "")

    # Where nothing is known to read normal, the first rung is the second: ladders are equally long.
    both = phrases.normal_and_check if check else phrases.normal
    yield text(_Kept(), both.format(quantities=normal, check=check) if normal else alone)
    yield text(_Kept(), alone)
    yield text(_Kept(place=False), alone)
    yield text(_Kept(place=False, day=False), alone)
    yield text(_Kept(place=False, day=False, trend=False), alone)
    yield text(_Kept(place=False, day=False, trend=False))
    shortest = _Kept(place=False, day=False, trend=False, crop=False)
    yield text(shortest)
    yield text(shortest, went=gone[1])
    yield text(shortest, went=gone[1], reply=bare)
    yield text(shortest, went=gone[1], reply=bare, invented=phrases.invented_short)


def _caution(quantity: Quantity, value: float, phrases: Phrases) -> str:
    return phrases.high_co2 if quantity is Quantity.CO2 and value >= _HIGH_CO2_PPM else ""


def _core(facts: AlarmFacts, units: Units, phrases: Phrases, sentence: str, kept: _Kept) -> str:
    where = bounded(facts.place or "", _PLACE_SEPTETS) if kept.place else ""
    return sentence.format(
        who=_who(facts, phrases, kept),
        what=phrases.quantity[facts.quantity],
        value=_value(facts.quantity, facts.value, facts.limit, units, phrases),
        place=phrases.at_place.format(place=where) if where else "",
        standing=_standing(facts, phrases),
        limit=_limit(facts.quantity, facts.value, facts.limit, units, phrases),
        duration=duration(facts.minutes, phrases),
        trend=phrases.trend[facts.trend] if facts.trend and kept.trend else "",
    )


def _who(facts: AlarmFacts, phrases: Phrases, kept: _Kept) -> str:
    room = bounded(facts.room, ROOM_SEPTETS)
    if not kept.crop:
        return room
    species = bounded(facts.species, SPECIES_SEPTETS)
    stage = bounded(phrases.stage.get(facts.stage, facts.stage), STAGE_SEPTETS)
    if not (species and stage):
        return one_line(f"{room} {species}{stage}")
    if not kept.day or facts.stage_day is None or not 0 <= facts.stage_day <= _LAST_DAY:
        return phrases.crop.format(room=room, species=species, stage=stage)
    return phrases.crop_day.format(room=room, species=species, stage=stage, day=facts.stage_day)


def _standing(facts: AlarmFacts, phrases: Phrases) -> str:
    """Under, over, at, or "was under" when the newest value is already inside again."""
    if facts.value == facts.limit:
        return phrases.at_limit
    outside = (facts.value < facts.limit) is (facts.side is Side.LOW)
    return (phrases.beyond if outside else phrases.beyond_no_longer)[facts.side]


def _value(quantity: Quantity, value: float, limit: float, units: Units, phrases: Phrases) -> str:
    if quantity in CONTACTS:
        return phrases.contact[quantity][value >= _CONTACT_ON]
    return value_in_text(quantity, value, limit, units)


def _limit(quantity: Quantity, wrong: float, limit: float, units: Units, phrases: Phrases) -> str:
    """A contact has no limit; what it should say is the opposite of what it said while it was wrong."""
    if quantity in CONTACTS:
        return phrases.contact[quantity][wrong < _CONTACT_ON]
    return limit_in_text(quantity, limit, units)


def _first_check(check: str | None, phrases: Phrases) -> str:
    return one_line(to_gsm7(phrases.first_check.get(check, check))) if check else ""


def _normal(quantities: tuple[Quantity, ...], phrases: Phrases) -> str:
    words = [phrases.short_quantity.get(q, phrases.quantity[q]) for q in quantities[:_MOST_NORMAL]]
    return capital(", ".join(words))
