"""The texts about the whole farm at once: many houses in one trouble, their end, and what was held for a summary.

Facts of their notices, beside those that every notice has (``at_ms``, ``zone``, ``invented``):

- ``site``: ``rooms`` (text names, in the farm's order), ``what`` ("power" or a quantity) and ``side`` (or none),
  ``since_ms``, ``first_check`` (``rules.together.Likely``), ``known`` (a contact says so), ``told_before`` (some
  of the rooms were told alone) and ``air_out`` (so much CO2 somewhere that nobody goes in unprepared).
- ``site back``: ``rooms`` that are back, ``still`` those that are not, ``still_since_ms`` or none, ``left_alone``
  those that are held back, ``what``, ``side``, ``since_ms``, ``until_ms``.
- ``summary``: ``count`` of texts in the hour, ``held`` how many more there were, ``rooms`` they were about.

How many houses, what is wrong, since when and the caution where CO2 is high never go. Names of houses go from the
end, with how many more there are, then where to look first, with its caution. What is only likely is said to be.
The Spanish is to be confirmed by a native reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from service.wording.fitting import ROOM_SEPTETS, bounded, joined, replies, told_alike
from service.wording.language import Language
from service.wording.phrases import PHRASES_IN
from service.wording.reader import Reader

_MOST_ROOMS: Final = 999
_MOST_TEXTS: Final = 999
_MOST_NAMES: Final = 14
"""More are not read at night, even where they fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SitePhrases:
    """All phrases of one language."""

    trouble: Mapping[tuple[str, str], str]
    """By what and which side; ``("power", "")`` where the mains are off."""
    any_trouble: str
    site: str
    site_before: str
    """Where some of the houses were told alone before."""
    look: Mapping[str, str]
    """Where to look first, by what is likely."""
    known: Mapping[str, str]
    """The same where a contact says so."""
    wiring: str
    """The caution beside everything that sends somebody to breakers and switches."""
    more: str
    all_back: str
    back: str
    still: str
    left_alone: str
    summary: str
    held: tuple[str, str]
    """For one text, for several."""
    held_only: str
    """Where no house is named."""
    see: str
    see_or_ask: str


ENGLISH_SITE: Final = SitePhrases(
    trouble={
        ("power", ""): "mains off",
        ("humidity", "low"): "humidity low",
        ("humidity", "high"): "humidity high",
        ("temperature", "low"): "temperature low",
        ("temperature", "high"): "temperature high",
        ("co2", "high"): "CO2 high",
        ("co2", "low"): "CO2 low",
    },
    any_trouble="past a limit",
    site="{count} houses at once: {trouble} since {since}.",
    site_before="Now {count} houses: {trouble} since {since}.",
    look={
        "power": "Check breakers, generator.",
        "generator": "Generator not running.",
        "transfer switch": "Generator runs: check transfer switch.",
        "water supply": "Likely water supply.",
        "fresh air": "Likely fresh air: check fans.",
        "heat": "Likely weather or cooling.",
        "cold": "Likely weather or heating.",
        "unclear": "Cause not clear.",
    },
    known={"water supply": "Water pressure gone."},
    wiring="Wiring: qualified people only.",
    more="{names} and {count} more",
    all_back="All {count} houses inside their limits since {until}: {names}.",
    back="Back: {names}.",
    still="Still {trouble} since {since}: {names}.",
    left_alone="No texts for now: {names}.",
    summary="{count} texts in an hour.",
    held=("1 more held: {rooms}.", "{count} more held: {rooms}."),
    held_only="{count} more held.",
    see="See the page.",
    see_or_ask="See the page or reply status.",
)

SPANISH_SITE: Final = SitePhrases(
    trouble={
        ("power", ""): "sin corriente",
        ("humidity", "low"): "humedad baja",
        ("humidity", "high"): "humedad alta",
        ("temperature", "low"): "temperatura baja",
        ("temperature", "high"): "temperatura alta",
        ("co2", "high"): "CO2 alto",
        ("co2", "low"): "CO2 bajo",
    },
    any_trouble="fuera de limite",
    site="{count} casas a la vez: {trouble} desde {since}.",
    site_before="Ya {count} casas: {trouble} desde {since}.",
    look={
        "power": "Revise fusibles, generador.",
        "generator": "Generador apagado.",
        "transfer switch": "Generador anda: revise la transferencia.",
        "water supply": "Tal vez falta agua.",
        "fresh air": "Tal vez aire fresco: revise ventilador.",
        "heat": "Tal vez clima o enfriamiento.",
        "cold": "Tal vez clima o calefaccion.",
        "unclear": "Causa no clara.",
    },
    known={"water supply": "Sin presion de agua."},
    wiring="Cables: solo gente calificada.",
    more="{names} y {count} mas",
    all_back="Las {count} casas dentro de sus limites desde {until}: {names}.",
    back="De vuelta: {names}.",
    still="Sigue {trouble} desde {since}: {names}.",
    left_alone="Sin mensajes por ahora: {names}.",
    summary="{count} mensajes en una hora.",
    held=("1 mas sin enviar: {rooms}.", "{count} mas sin enviar: {rooms}."),
    held_only="{count} mas sin enviar.",
    see="Vea la pagina.",
    see_or_ask="Vea la pagina o responda estado.",
)

SITE_IN: Final[Mapping[Language, SitePhrases]] = {"en": ENGLISH_SITE, "es": SPANISH_SITE}

_SENDS_TO_WIRING: Final = frozenset({"power", "generator", "transfer switch"})


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFacts:
    """What was known when several houses had the same trouble at once."""

    rooms: tuple[str, ...]
    what: str
    side: str
    since: str
    first_check: str
    known: bool
    told_before: bool
    air_out: bool
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteBackFacts:
    """What was known when all houses were back, or most had been for a while."""

    rooms: tuple[str, ...]
    still: tuple[str, ...]
    left_alone: tuple[str, ...]
    what: str
    side: str
    still_since: str
    until: str
    invented: bool
    not_all: bool = False
    """One that was back is in a trouble of its own by now, which is told apart from this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SummaryFacts:
    """What one person was not sent in an hour that was full."""

    count: int
    held: int
    rooms: tuple[str, ...]
    invented: bool


def site_text(facts: SiteFacts, reader: Reader) -> str:
    """The text that stands for those about single houses."""
    return told_alike(lambda one: _site(facts, one), reader)


def site_back_text(facts: SiteBackFacts, reader: Reader) -> str:
    """Which houses are back, and which are not."""
    return told_alike(lambda one: _site_back(facts, one), reader)


def summary_text(facts: SummaryFacts, reader: Reader) -> str:
    """The one text for all those that were not sent."""
    return told_alike(lambda one: _summary(facts, one), reader)


def names_listed(names: Sequence[str], most: int, more: str) -> str:
    """The first ``most`` names, those alike drawn together: "House 3, 4, 7 and 4 more"."""
    listed, front = [], ""
    for name in [bounded(name, ROOM_SEPTETS) for name in names[:most]]:
        word, _, rest = name.rpartition(" ")
        listed.append(rest if word and word == front and rest.isdigit() else name)
        front = word
    said = ", ".join(listed)
    return said if most >= len(names) else more.format(names=said, count=len(names) - most)


def _site(facts: SiteFacts, reader: Reader) -> Iterator[str]:
    said, phrases = SITE_IN[reader.language], PHRASES_IN[reader.language]
    sentence = said.site_before if facts.told_before else said.site
    trouble = _trouble(facts.what, facts.side, said)
    count = min(len(facts.rooms), _MOST_ROOMS)
    head = sentence.format(count=count, trouble=trouble, since=facts.since)
    look = (said.known if facts.known and facts.first_check in said.known else said.look)[facts.first_check]
    look = joined(look, said.wiring if facts.first_check in _SENDS_TO_WIRING else "")
    air = phrases.high_co2 if facts.air_out else ""
    end = phrases.invented if facts.invented else ""
    named, bare = replies(reader.answers, phrases)
    for reply in (named, bare):
        for most in _fewer_and_fewer(facts.rooms):
            yield joined(head, names_listed(facts.rooms, most, said.more) + ".", look, air, reply, end)
    yield joined(head, look, air, bare, end)
    yield joined(head, air, bare, end)


def _site_back(facts: SiteBackFacts, reader: Reader) -> Iterator[str]:
    said, phrases = SITE_IN[reader.language], PHRASES_IN[reader.language]
    end = phrases.invented if facts.invented else ""
    every = (facts.rooms, facts.still, facts.left_alone)
    for most in _fewer_and_fewer(max(every, key=len)):
        back, still, left = (names_listed(names, most, said.more) for names in every)
        trouble = _trouble(facts.what, facts.side, said)
        sentence = said.back if facts.still or facts.left_alone or facts.not_all else said.all_back
        count = min(len(facts.rooms), _MOST_ROOMS)
        yield joined(
            sentence.format(count=count, until=facts.until, names=back) if back else "",
            said.still.format(trouble=trouble, since=facts.still_since, names=still) if still else "",
            said.left_alone.format(names=left) if left else "",
            end,
        )


def _summary(facts: SummaryFacts, reader: Reader) -> Iterator[str]:
    said, phrases = SITE_IN[reader.language], PHRASES_IN[reader.language]
    end = phrases.invented if facts.invented else ""
    head = said.summary.format(count=min(facts.count, _MOST_TEXTS))
    see = said.see if reader.answers is None else said.see_or_ask
    held, count = said.held[min(facts.held, 2) - 1], min(facts.held, _MOST_TEXTS)
    for most in _fewer_and_fewer(facts.rooms):
        names = names_listed(facts.rooms, most, said.more)
        yield joined(head, held.format(count=count, rooms=names), see, end)
    yield joined(head, said.held_only.format(count=count), see, end)


def _fewer_and_fewer(names: Sequence[str]) -> range:
    return range(min(len(names), _MOST_NAMES), 0, -1)


def _trouble(what: str, side: str, said: SitePhrases) -> str:
    return said.trouble.get((what, side), said.any_trouble)
