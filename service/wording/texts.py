"""The text messages themselves, from facts that were frozen when the notice was made.

Every text is one segment of the basic alphabet. The reader has just been woken: which house and crop, what is
wrong, since when, and what to look at first, in that order. When room runs short, clauses go whole: the list of
what reads normal, then the place in the room, then the first check. Name, value, limit and duration never go,
and neither do the caution where CO2 is high and the mark of invented data.

No text says how to answer: nothing listens for answers yet, and a promise that is not kept costs more trust than
a missing one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rules.model import CONTACTS, Quantity, Side
from service.wording.format import duration, limit_in_text, value_in_text
from service.wording.phrases import ENGLISH, Phrases, Trend
from service.wording.segments import ONE_SEGMENT, cut, one_line, segments, to_gsm7
from service.wording.units import Units

ROOM_SEPTETS: Final = 12
SPECIES_SEPTETS: Final = 10
STAGE_SEPTETS: Final = 10
_PLACE_SEPTETS: Final = 12
_FARM_SEPTETS: Final = 32
_TIME_SEPTETS: Final = 12
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


def alarm_text(facts: AlarmFacts, units: Units, phrases: Phrases = ENGLISH) -> str:
    contact = facts.quantity in CONTACTS
    return _first_that_fits(facts, units, phrases, phrases.alarm_contact if contact else phrases.alarm)


def deeper_text(facts: AlarmFacts, units: Units, phrases: Phrases = ENGLISH) -> str:
    """The same alarm, further out than before."""
    contact = facts.quantity in CONTACTS
    return _first_that_fits(facts, units, phrases, phrases.deeper_contact if contact else phrases.deeper)


def back_text(facts: BackFacts, units: Units, phrases: Phrases = ENGLISH) -> str:
    """What closes an alarm text, for everyone who was told."""
    said = _back_sentence(facts, phrases).format(
        room=bounded(facts.room, ROOM_SEPTETS),
        what=phrases.quantity[facts.quantity],
        value=_value(facts.quantity, facts.value, facts.limit, units, phrases),
        time=bounded(facts.local_time, _TIME_SEPTETS),
        worst_word=phrases.worst[facts.side],
        worst=_value(facts.quantity, facts.worst, facts.limit, units, phrases),
        beyond=phrases.beyond[facts.side],
        limit=_limit(facts.quantity, facts.worst, facts.limit, units, phrases),
        duration=duration(facts.minutes),
    )
    return joined(said, _end(facts.quantity, facts.value, phrases, invented=facts.invented))


def _back_sentence(facts: BackFacts, phrases: Phrases) -> str:
    if facts.quantity in CONTACTS:
        return phrases.back_contact
    was_past = facts.worst < facts.limit if facts.side is Side.LOW else facts.worst > facts.limit
    if not was_past:
        return phrases.back_limit_moved
    return phrases.back if facts.in_band else phrases.back_past_limit


def trial_text(*, farm: str, local_time: str, invented: bool, phrases: Phrases = ENGLISH) -> str:
    """A text sent in daylight to see that texts arrive."""
    said = phrases.trial.format(farm=bounded(farm, _FARM_SEPTETS), time=bounded(local_time, _TIME_SEPTETS))
    return joined(said, phrases.invented if invented else "")


def _first_that_fits(facts: AlarmFacts, units: Units, phrases: Phrases, sentence: str) -> str:
    texts = list(_fullest_first(facts, units, phrases, sentence))
    return next((text for text in texts if _fits(text)), texts[-1])


def _fullest_first(facts: AlarmFacts, units: Units, phrases: Phrases, sentence: str) -> Iterator[str]:
    place, bare = _core(facts, units, phrases, sentence), _core(facts, units, phrases, sentence, place=False)
    check = _first_check(facts.first_check, phrases)
    normal = _normal(facts.normal, phrases)
    end = _end(facts.quantity, facts.value, phrases, invented=facts.invented)
    if normal and check:
        yield joined(place, phrases.normal_and_check.format(quantities=normal, check=check), end)
    elif normal:
        yield joined(place, phrases.normal.format(quantities=normal), end)
    alone = phrases.check.format(check=_capital(check)) if check else ""
    yield joined(place, alone, end)
    yield joined(bare, alone, end)
    yield joined(bare, end)


def _end(quantity: Quantity, value: float, phrases: Phrases, *, invented: bool) -> str:
    """What stands last and never goes."""
    is_high_co2 = quantity is Quantity.CO2 and value >= _HIGH_CO2_PPM
    return joined(phrases.high_co2 if is_high_co2 else "", phrases.invented if invented else "")


def _core(facts: AlarmFacts, units: Units, phrases: Phrases, sentence: str, *, place: bool = True) -> str:
    where = bounded(facts.place or "", _PLACE_SEPTETS) if place else ""
    return sentence.format(
        who=_who(facts, phrases),
        what=phrases.quantity[facts.quantity],
        value=_value(facts.quantity, facts.value, facts.limit, units, phrases),
        place=phrases.at_place.format(place=where) if where else "",
        standing=_standing(facts, phrases),
        limit=_limit(facts.quantity, facts.value, facts.limit, units, phrases),
        duration=duration(facts.minutes),
        trend=phrases.trend[facts.trend] if facts.trend else "",
    )


def _who(facts: AlarmFacts, phrases: Phrases) -> str:
    room = bounded(facts.room, ROOM_SEPTETS)
    species, stage = bounded(facts.species, SPECIES_SEPTETS), bounded(facts.stage, STAGE_SEPTETS)
    if not (species and stage):
        return one_line(f"{room} {species}{stage}")
    if facts.stage_day is None or not 0 <= facts.stage_day <= _LAST_DAY:
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
    return _capital(", ".join(words))


def bounded(name: str, septets: int) -> str:
    """A name as a text carries it: basic alphabet, one line, so long at most."""
    return cut(one_line(to_gsm7(name)), septets)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def joined(*sentences: str) -> str:
    """The sentences that say something, one after the other."""
    return " ".join(sentence for sentence in sentences if sentence)


def _fits(text: str) -> bool:
    return segments(text).units <= ONE_SEGMENT
