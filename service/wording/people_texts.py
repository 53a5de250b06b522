"""What is said about limits for people: the text of danger, its end, and the lines of pages and sheets.

A text of danger is one segment, like every other. Room, figure, limit and "do not go in alone" never go; where
room runs short the long form of a clause gives way to its short one. No text about people says that all is well:
what ends a danger text says since when the air is under the limit, and that a meter at the door has the last word.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.model import Quantity
from service.wording.format import on_page
from service.wording.phrases import ENGLISH, Phrases
from service.wording.segments import ONE_SEGMENT, segments
from service.wording.texts import ROOM_SEPTETS, bounded, joined

_MOST_PPM: Final = 999_999.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PeoplePhrases:
    """All phrases of one language; levels are those of ``rules.people``."""

    danger: str
    by: dict[str, str]
    """Which figure it is, by level, up to its limit."""
    at_least: str
    come_out: str
    average: tuple[str, ...]
    """The longest form first."""
    enter: tuple[str, ...]
    back: str

    may_be_over: str
    air_out: str
    air_out_mark: str
    was: str
    line: str
    line_at_top: str
    line_figure: dict[str, str]
    line_coverage: str
    not_exposure: str


ENGLISH_PEOPLE: Final = PeoplePhrases(
    danger="{room}: DANGER to people. CO2 {at_least}{value} ppm{by} {limit}.",
    by={
        "8 hours": ", 8 h average, limit",
        "at the top": ", may be over limit",
        "15 minutes": ", 15 min average, limit",
        "ceiling": " now, limit",
    },
    at_least="at least ",
    come_out="Come out.",
    average=("Room average, not a person's exposure.", "Room average, not exposure.", "Room average."),
    enter=(
        "Do not go in alone. Air out from outside, then measure with a meter at the door.",
        "Do not go in alone. Air out from outside, meter at the door.",
        "Do not go in alone. Air out, meter at the door.",
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


def danger_text(facts: DangerFacts, said: PeoplePhrases = ENGLISH_PEOPLE, phrases: Phrases = ENGLISH) -> str:
    """The text of danger, as full as one segment allows."""
    head = said.danger.format(
        room=bounded(facts.room, ROOM_SEPTETS),
        at_least=said.at_least if facts.at_least else "",
        value=_figure(facts.value_ppm, over=facts.limit_ppm),
        by=said.by[facts.level],
        limit=_figure(facts.limit_ppm),
    )
    out = said.come_out if facts.somebody_inside else ""
    end = phrases.invented if facts.invented else ""
    clauses = [(average, enter) for average in said.average for enter in said.enter[:2]]
    clauses += [("", enter) for enter in said.enter]
    texts = [joined(head, out, average, enter, end) for average, enter in clauses]
    return next((text for text in texts if segments(text).units <= ONE_SEGMENT), texts[-1])


def under_text(facts: UnderFacts, said: PeoplePhrases = ENGLISH_PEOPLE, phrases: Phrases = ENGLISH) -> str:
    """What ends a text of danger, for everyone who was told."""
    text = said.back.format(
        room=bounded(facts.room, ROOM_SEPTETS),
        at_least=said.at_least if facts.at_least else "",
        value=_figure(facts.value_ppm),
        time=facts.local_time,
    )
    return joined(text, phrases.invented if facts.invented else "")


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
