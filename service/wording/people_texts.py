"""What is said about limits for people: the text of danger, its end, and the lines of pages and sheets.

A text of danger is one segment, like every other. Room, figure, limit, "do not go in alone", the meter at the door
and how to answer never go; where room runs short the long form of a clause gives way to its short one. No text
about people says that all is well: what ends a danger text says since when the air is under the limit, and that a
meter at the door has the last word. The Spanish is to be confirmed by a native reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from rules.model import Quantity
from service.wording.fitting import ROOM_SEPTETS, bounded, joined, person_name, replies, told_alike
from service.wording.format import on_page
from service.wording.language import Language
from service.wording.phrases import PHRASES_IN
from service.wording.reader import Reader

_MOST_PPM: Final = 999_999.0
_SHORT_NAME_SEPTETS: Final = 8
_TIME_SEPTETS: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class PeoplePhrases:
    """All phrases of one language; levels are those of ``rules.people``."""

    danger: tuple[str, str, str]
    """The usual form, a short one for where room runs out, and the shortest; so with ``by`` and ``went``."""
    by: Mapping[str, tuple[str, str, str]]
    """Which figure it is, by level, and its limit."""
    at_least: str
    come_out: str
    went: tuple[str, str, str]
    """Somebody went, and it is no better."""
    average: tuple[str, str, str]
    enter: tuple[str, str, str, str]
    back: str

    may_be_over: str
    air_out: str
    air_out_mark: str
    was: str
    line: str
    line_at_top: str
    line_figure: Mapping[str, str]
    line_coverage: str
    not_exposure: str


ENGLISH_PEOPLE: Final = PeoplePhrases(
    danger=(
        "{room}: DANGER to people. CO2 {at_least}{value} ppm, {by}.",
        "{room}: DANGER. CO2 {at_least}{value} ppm, {by}.",
        "{room}: DANGER. CO2 {at_least}{value}, {by}.",
    ),
    by={
        "8 hours": ("8 h average, limit {limit}", "8 h limit {limit}", "limit {limit}"),
        "at the top": ("may be over limit {limit}", "maybe over limit {limit}", "maybe over {limit}"),
        "15 minutes": ("15 min average, limit {limit}", "15 min limit {limit}", "limit {limit}"),
        "ceiling": ("limit {limit}", "limit {limit}", "limit {limit}"),
    },
    at_least="at least ",
    come_out="Come out.",
    went=("{person} went at {time}, no better.", "{person} went at {time}.", "{person} went {time}."),
    average=("Room average, not a person's exposure.", "Room average, not exposure.", "Room average."),
    enter=(
        "Do not go in alone. Air out from outside, then measure with a meter at the door.",
        "Do not go in alone. Air out from outside, meter at the door.",
        "Do not go in alone. Air out, meter at the door.",
        "Do not go in alone. Air out, meter at door.",
    ),
    back=(
        "{room}: CO2 {at_least}{value} ppm, under the people limit since {time}."
        " Measure with a meter at the door before anyone goes in."
    ),
    may_be_over="May be over the people limit.",
    air_out="Air out before entry.",
    air_out_mark="air out before entry",
    was="A limit for people was passed at {times}.",
    line="CO2 is over the limit for people: {figure}, limit {limit}.",
    line_at_top="CO2 is {figure}, and may be over the limit for people of {limit}: the probe reads no higher.",
    line_figure={
        "8 hours": "{value} on average over 8 h",
        "at the top": "{value}",
        "15 minutes": "{value} on average over 15 min",
        "ceiling": "{value} now",
    },
    line_coverage="Known for {percent}% of the time; the rest was counted as nothing.",
    not_exposure="A room average, not a person's exposure.",
)

SPANISH_PEOPLE: Final = PeoplePhrases(
    danger=(
        "{room}: PELIGRO para personas. CO2 {at_least}{value} ppm, {by}.",
        "{room}: PELIGRO. CO2 {at_least}{value} ppm, {by}.",
        "{room}: PELIGRO. CO2 {at_least}{value}, {by}.",
    ),
    by={
        "8 hours": ("prom. 8 h, limite {limit}", "limite 8 h {limit}", "limite {limit}"),
        "at the top": ("quizas sobre limite {limit}", "quizas sobre {limit}", "quizas sobre {limit}"),
        "15 minutes": ("prom. 15 min, limite {limit}", "limite 15 min {limit}", "limite {limit}"),
        "ceiling": ("limite {limit}", "limite {limit}", "limite {limit}"),
    },
    at_least="minimo ",
    come_out="Salga.",
    went=("{person} fue a las {time}, no mejora.", "{person} fue a las {time}.", "{person} fue {time}."),
    average=("Promedio del cuarto, no lo que respira una persona.", "Promedio, no exposicion.", "Promedio."),
    enter=(
        "No entre solo. Ventile desde fuera, luego mida con medidor en la puerta.",
        "No entre solo. Ventile desde fuera, mida en la puerta.",
        "No entre solo. Ventile, mida en la puerta.",
        "No entre solo. Ventile, mida en puerta.",
    ),
    back=(
        "{room}: CO2 {at_least}{value} ppm, bajo el limite para personas desde las {time}."
        " Mida con medidor en la puerta antes de que alguien entre."
    ),
    may_be_over="Quizas sobre el limite para personas.",
    air_out="Ventile antes de entrar.",
    air_out_mark="ventile antes de entrar",
    was="Se paso un limite para personas a las {times}.",
    line="CO2 sobre el limite para personas: {figure}, limite {limit}.",
    line_at_top="CO2 {figure}, quizas sobre el limite para personas de {limit}: la sonda no lee mas alto.",
    line_figure={
        "8 hours": "{value} de promedio en 8 h",
        "at the top": "{value}",
        "15 minutes": "{value} de promedio en 15 min",
        "ceiling": "{value} ahora",
    },
    line_coverage="Conocido el {percent}% del tiempo; el resto se conto como nada.",
    not_exposure="Promedio del cuarto, no lo que respira una persona.",
)

PEOPLE_IN: Final[Mapping[Language, PeoplePhrases]] = {"en": ENGLISH_PEOPLE, "es": SPANISH_PEOPLE}


@dataclass(frozen=True, slots=True, kw_only=True)
class DangerFacts:
    """What was known when a limit for people was passed with somebody there, or with nobody to be there at all."""

    room: str
    level: str
    value_ppm: float
    at_least: bool
    limit_ppm: float
    somebody_inside: bool
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderFacts:
    """What was known when no limit for people was passed any more."""

    room: str
    value_ppm: float
    at_least: bool
    local_time: str
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitPassed:
    """A passed limit as pages say it."""

    level: str
    value_ppm: float
    at_least: bool
    limit_ppm: float
    coverage: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WentIn:
    """Who went there, and when, while the danger goes on."""

    person: str
    local_time: str


def danger_text(facts: DangerFacts, reader: Reader, went: WentIn | None = None) -> str:
    """The text of danger, as full as one segment allows; ``went`` makes it the one for the next person."""
    return told_alike(lambda one: _fullest_first(facts, one, went), reader)


def _fullest_first(facts: DangerFacts, reader: Reader, went: WentIn | None) -> Iterator[str]:
    said, phrases = PEOPLE_IN[reader.language], PHRASES_IN[reader.language]
    named, bare = replies(reader.answers, phrases)
    heads = [joined(_danger_head(facts, said, form), _inside(facts, said, went, form)) for form in range(3)]
    end, short_end = (phrases.invented, phrases.invented_short) if facts.invented else ("", "")
    for average in said.average:
        for enter in said.enter[:2]:
            yield joined(heads[0], average, enter, named, end)
    yield joined(heads[0], said.enter[0], named, end)
    # That the airing is done from outside is worth more than the long form of the first sentence.
    yield joined(heads[0], said.enter[1], named, end)
    for enter in said.enter[1:]:
        yield joined(heads[1], enter, named, end)
    for head in heads[1:]:
        for enter in said.enter[1:]:
            yield joined(head, enter, bare, end)
    yield joined(heads[2], said.enter[-1], bare, short_end)


def _danger_head(facts: DangerFacts, said: PeoplePhrases, form: int) -> str:
    return said.danger[form].format(
        room=bounded(facts.room, ROOM_SEPTETS),
        at_least=said.at_least if facts.at_least else "",
        value=_figure(facts.value_ppm, over=facts.limit_ppm),
        by=said.by[facts.level][form].format(limit=_figure(facts.limit_ppm)),
    )


def _inside(facts: DangerFacts, said: PeoplePhrases, went: WentIn | None, form: int) -> str:
    """Whoever is inside is told to come out; the next person, who is not, is told who went in."""
    if went is None:
        return said.come_out if facts.somebody_inside else ""
    is_tight = form == len(said.went) - 1
    person = bounded(went.person, _SHORT_NAME_SEPTETS) if is_tight else person_name(went.person)
    return said.went[form].format(person=person, time=bounded(went.local_time, _TIME_SEPTETS))


def under_text(facts: UnderFacts, reader: Reader) -> str:
    """What ends a text of danger, for everyone who was told."""
    text = PEOPLE_IN[reader.language].back.format(
        room=bounded(facts.room, ROOM_SEPTETS),
        at_least=PEOPLE_IN[reader.language].at_least if facts.at_least else "",
        value=_figure(facts.value_ppm),
        time=bounded(facts.local_time, _TIME_SEPTETS),
    )
    return joined(text, PHRASES_IN[reader.language].invented if facts.invented else "")


def passed_line(facts: LimitPassed, said: PeoplePhrases = ENGLISH_PEOPLE) -> str:
    """A passed limit in a sentence or two, for pages and the sheet."""
    value = (said.at_least if facts.at_least else "") + on_page(Quantity.CO2, facts.value_ppm, "metric")
    sentence = said.line_at_top if facts.level == "at the top" else said.line
    line = sentence.format(
        figure=said.line_figure[facts.level].format(value=value),
        limit=on_page(Quantity.CO2, facts.limit_ppm, "metric"),
    )
    percent = int(facts.coverage * 100)
    known = said.line_coverage.format(percent=percent) if percent < 100 else ""  # noqa: PLR2004 - all of it
    return joined(line, known, said.not_exposure)


def _figure(ppm: float, *, over: float | None = None) -> str:
    """Whole ppm; a value that is over a limit by less than one is not written as the limit itself."""
    figure = round(min(ppm, _MOST_PPM))
    return str(figure + 1 if over is not None and ppm > over and figure <= round(over) else figure)
