"""Sentences of the round sheet and of a night: facts in, words out. Moments are those of the farm's clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeAlias

from rules.model import Quantity, Side
from service.wording.format import clock, duration, edge_on_page, on_page
from service.wording.phrases import ENGLISH, Phrases
from service.wording.sheet_phrases import ENGLISH_SHEET, SheetPhrases
from service.wording.units import Units, scale_of

Language: TypeAlias = tuple[SheetPhrases, Phrases]

IN_ENGLISH: Language = (ENGLISH_SHEET, ENGLISH)


@dataclass(frozen=True, slots=True, kw_only=True)
class DipFacts:
    """One time outside the band. Values in the unit kept, durations in whole minutes."""

    quantity: Quantity
    side: Side
    start: datetime
    end: datetime | None
    """``None`` while it goes on."""
    last: datetime
    minutes: int
    times: int
    worst: float
    worst_at: datetime
    place: str | None
    edge: float
    limit: float | None
    past_start: datetime | None
    past_minutes: int
    learned: datetime | None
    normal: tuple[Quantity, ...] = ()
    first_check: str | None = None
    began_before: bool = False
    """It was so already when the night began, so ``start`` says no more than that."""


def dip_sentences(facts: DipFacts, units: Units, language: Language = IN_ENGLISH) -> list[str]:
    """A dip told in full, the times and the side in the first sentence."""
    said, words = language
    sentence = said.dip_over if facts.end else said.dip_going_on
    first = sentence.format(
        start=capital(_from(facts, facts.start, said)),
        end=clock(facts.end) if facts.end else "",
        last=clock(facts.last),
        what=words.quantity[facts.quantity],
        side=words.side[facts.side],
        duration=_for(facts, facts.minutes, said),
        times=said.dip_times.format(count=facts.times) if facts.times > 1 else "",
    )
    rest = [_worst_and_band(facts, units, language), _past(facts, units, language)]
    if facts.learned is not None:
        rest.append(said.dip_late.format(time=clock(facts.learned)))
    if facts.normal:
        rest.append(said.normal.format(quantities=capital(listed(facts.normal, language))))
    if facts.first_check:
        rest.append(said.first_check.format(check=facts.first_check))
    return [first, *(sentence for sentence in rest if sentence)]


def _from(facts: DipFacts, start: datetime, said: SheetPhrases) -> str:
    cut = facts.began_before and start == facts.start
    return said.dip_before.format(time=clock(start)) if cut else clock(start)


def _for(facts: DipFacts, minutes: int, said: SheetPhrases, start: datetime | None = None) -> str:
    cut = facts.began_before and start in {None, facts.start}
    return said.dip_at_least.format(duration=duration(minutes)) if cut else duration(minutes)


def _worst_and_band(facts: DipFacts, units: Units, language: Language) -> str:
    said, words = language
    worst = said.dip_worst.format(
        worst_word=words.worst[facts.side],
        worst=on_page(facts.quantity, facts.worst, units),
        time=clock(facts.worst_at),
        place=words.at_place.format(place=facts.place) if facts.place else "",
    )
    band = said.dip_band[facts.side.value].format(edge=edge(facts.quantity, facts.edge, units))
    return f"{worst}; {band}"


def _past(facts: DipFacts, units: Units, language: Language) -> str:
    said, words = language
    if facts.limit is None:
        return ""
    limit = edge(facts.quantity, facts.limit, units)
    if facts.past_start is None:
        return said.dip_not_past.format(limit=limit)
    return said.dip_past.format(
        beyond=capital(words.beyond[facts.side]),
        limit=limit,
        duration=_for(facts, facts.past_minutes, said, facts.past_start),
        time=_from(facts, facts.past_start, said),
    )


def dip_line(facts: DipFacts, units: Units, language: Language = IN_ENGLISH) -> str:
    """A dip in one line for the sheet: against the text limit if that was passed, else against the band."""
    said, words = language
    past = facts.past_start is not None and facts.limit is not None
    start = facts.past_start if past and facts.past_start else facts.start
    shown_edge = facts.limit if past and facts.limit is not None else facts.edge
    sentence = said.line_dip_going_on if facts.end is None else said.line_dip
    return sentence.format(
        what=capital(words.quantity[facts.quantity]),
        beyond=words.beyond[facts.side],
        edge=edge(facts.quantity, shown_edge, units),
        duration=_for(facts, facts.past_minutes if past else facts.minutes, said, start),
        start=_from(facts, start, said),
        worst_word=words.worst[facts.side].lower(),
        worst=on_page(facts.quantity, facts.worst, units),
        place=words.at_place.format(place=facts.place) if facts.place else "",
    )


def out_now(
    quantity: Quantity, value: float, side: Side, limit: float, units: Units, *, language: Language = IN_ENGLISH
) -> str:
    """That a quantity is outside at this moment."""
    said, words = language
    return said.line_out_now.format(
        what=capital(words.quantity[quantity]),
        value=on_page(quantity, value, units),
        beyond=words.beyond[side],
        edge=edge(quantity, limit, units),
    )


def brief_line(quantity: Quantity, times: int, minutes: int, language: Language = IN_ENGLISH) -> str:
    """What was only counted."""
    said, words = language
    sentence = said.brief_once if times == 1 else said.brief
    return sentence.format(what=capital(words.quantity[quantity]), count=times, duration=duration(minutes))


def unheard_line(quantities: Sequence[Quantity], language: Language = IN_ENGLISH) -> str:
    """What nobody can say anything about."""
    return language[0].line_unheard.format(quantities=listed(quantities, language))


def listed(quantities: Sequence[Quantity], language: Language = IN_ENGLISH) -> str:
    """Quantities in a row: "temperature and CO2"."""
    said, words = language
    names = [words.quantity[q] for q in quantities]
    if len(names) < 2:  # noqa: PLR2004 - one needs no "and"
        return "".join(names)
    return said.normal_and.format(others=", ".join(names[:-1]), last=names[-1])


def edge(quantity: Quantity, value: float, units: Units) -> str:
    """A band's edge or a limit with its unit."""
    return edge_on_page(quantity, value, units) + scale_of(quantity, units).page_unit


def capital(words: str) -> str:
    """The first letter large, the others as they are."""
    return words[:1].upper() + words[1:]
