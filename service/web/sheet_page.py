"""The round sheet as a page: what the template shows, in words and drawings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from markupsafe import Markup

from service.reports.night import QuantityNight, RoomNight
from service.reports.note_words import NoteWords
from service.reports.round_sheet import RoomLine, RoundSheet, Standing
from service.reports.words import Text, Words
from service.web.truth_form import Ask, AskedWhom, asks, other_asks
from service.wording.band_strip import band_strip
from service.wording.format import day, on_page
from service.wording.sentences import capital


@dataclass(frozen=True, slots=True, kw_only=True)
class StripRow:
    """One quantity: its name, its strip, its value."""

    name: str
    svg: Markup
    value: str
    side: str
    """"low", "high" or nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomCard:
    """One room of the sheet."""

    room_id: str
    name: str
    crops: str
    shared: list[str]
    """What it is on a compromise for, by whom, and who puts up with what."""
    wrong: bool
    """True when something is wrong now: its first word is then in the one colour that warns."""
    lead: str
    story: str
    answers: list[str]
    waits_for_answer: bool
    strips: list[StripRow]
    asked: list[Ask]
    """What happened there, and what it was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietLine:
    """One quiet room."""

    room_id: str
    name: str
    crops: str
    values: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPage:
    """The whole page."""

    title: str
    span: str
    on_call: str
    cards: list[RoomCard]
    quiet: list[QuietLine]
    texts: list[Text]
    held_back: list[str]
    shared: list[tuple[str, str]]
    """Rooms that do not suit all their crops."""
    asked: list[Ask]
    """What happened elsewhere than in the rooms that have a card."""
    whom: AskedWhom
    night: str
    """The night that the sheet is about, as a form says it."""
    due: list[str]
    silences: list[str]
    silent: list[tuple[str, str]]
    waiting: list[str]
    rejected: str
    night_before: str
    is_tonight: bool


def sheet_page(sheet: RoundSheet, words: Words, whom: AskedWhom) -> SheetPage:
    """Put a sheet on paper, for whoever uses the browser."""
    span, notes = sheet.span, NoteWords(words=words)
    carded = {line.night.room["room_id"] for line in sheet.loud}
    asks_now = not span.is_running  # what is going on tonight is asked about in the morning
    return SheetPage(
        title=title(sheet, words),
        span=words.span(span),
        on_call=", then ".join(row["name"] for row in sheet.on_call),
        cards=[
            card(line, words, asks(sheet.notes, notes, line.night.room["room_id"]) if asks_now else ())
            for line in sheet.loud
        ],
        asked=other_asks(sheet.notes, notes, carded) if asks_now else [],
        whom=whom,
        night=span.evening.isoformat(),
        due=notes.due(sheet.notes),
        silences=[notes.silence(one, sheet.notes.names) for one in sheet.notes.silences],
        quiet=[_quiet(line, words) for line in sheet.quiet],
        texts=words.texts(sheet.tellings),
        held_back=[words.held_back(line, notice) for line, notice in sheet.held_back],
        shared=[(line.night.room["name"], said) for line in sheet.lines for said in words.shared(line.night)],
        silent=[(f"{p.room}, {p.place}" if p.place else p.room, words.silent(p)) for p in sheet.silent],
        waiting=[str(p["probe_id"]) for p in sheet.waiting],
        rejected=words.rejected(sheet),
        night_before=(span.evening - timedelta(days=1)).isoformat(),
        is_tonight=span.is_running,
    )


def card(line: RoomLine, words: Words, asked: Sequence[Ask] = ()) -> RoomCard:
    """One room that needs words."""
    night = line.night
    return RoomCard(
        room_id=night.room["room_id"],
        name=night.room["name"],
        crops=words.crops(night),
        shared=words.shared(night),
        wrong=line.standing in {Standing.STILL_WRONG, Standing.OUT_NOW},
        lead=words.lead(line),
        story=words.story(line),
        answers=words.answers(night),
        waits_for_answer=night.waits_for_answer,
        strips=list(strips(night, words)),
        asked=list(asked),
    )


def strips(night: RoomNight, words: Words) -> Iterable[StripRow]:
    """The band strips of a room."""
    for quantity in night.quantities:
        if quantity.now is not None or quantity.spread is not None or quantity.bands:
            yield _strip(quantity, night, words)


def _strip(quantity: QuantityNight, night: RoomNight, words: Words) -> StripRow:
    said, phrases = words.language
    spread = said.spread["tonight" if night.span.is_running else "night"]
    drawn = band_strip(
        quantity=quantity.quantity,
        low=quantity.band_now.low,
        high=quantity.band_now.high,
        now=None if quantity.now is None else quantity.now.value,
        spread=quantity.spread,
        units=words.units,
        phrases=replace(phrases, strip_spread=spread),
    )
    return StripRow(
        name=capital(phrases.quantity[quantity.quantity]),
        svg=Markup(drawn.svg),  # noqa: S704 - our own drawing; every text in it is escaped where it is written
        value=_value(quantity, words),
        side=drawn.word or "",
    )


def _value(quantity: QuantityNight, words: Words) -> str:
    if quantity.now is None:
        return "no reading"
    return on_page(quantity.quantity, quantity.now.value, words.units)


def _quiet(line: RoomLine, words: Words) -> QuietLine:
    return QuietLine(
        room_id=line.night.room["room_id"],
        name=line.night.room["name"],
        crops=words.crops(line.night),
        values=" · ".join([*words.now(line.night), *words.mark(line.night)]),
    )


def title(sheet: RoundSheet, words: Words) -> str:
    """What the sheet is called: by its evening while it is tonight, else by its morning."""
    if sheet.span.is_running:
        return f"Tonight, {day(words.at(sheet.span.from_ms))}"
    return f"Round sheet, {day(words.at(sheet.span.morning_ms))}"
