"""One room's page: how it stands, who is going, and its night."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from rules.model import MINUTE_MS
from service.reports.night import RoomNight
from service.reports.round_sheet import room_line
from service.reports.words import Text, Words
from service.storage.holds import HoldRow
from service.storage.rows import Record
from service.web.chart import Chart, chart
from service.web.sheet_page import RoomCard, card
from service.wording.air_sentence import AirFacts, air_sentence
from service.wording.format import duration_ms
from service.wording.sentences import capital

SHORTEST_GAP_MS: Final = 10 * MINUTE_MS
"""Less than this without readings is not worth a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberedDip:
    """One time outside the band, in sentences."""

    heading: str
    sentences: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who may answer."""

    person_id: str
    name: str
    chosen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomPage:
    """The whole page."""

    card: RoomCard
    air: str
    """Empty while temperature or humidity is not known."""
    held_back: list[str]
    """Who works there, and what is left until when."""
    people: list[Person]
    span: str
    night_title: str
    chart: Chart | None
    dips: list[NumberedDip]
    brief: list[str]
    gaps: list[str]
    texts: list[Text]
    trail: list[str]
    """Who was told, by which way, what came of it, and what they said, in order."""
    cautions: list[str]
    nothing_to_answer: str
    chart_lines: list[str]
    night_before: str
    night_after: str
    """Empty when that night has not begun."""


def room_page(
    night: RoomNight,
    words: Words,
    *,
    held_back: list[HoldRow],
    people: list[Record],
    whoever: str,
    newest: date,
) -> RoomPage:
    """Put a room on paper; ``whoever`` answered last from this browser, ``newest`` is the last night begun."""
    line = room_line(night)
    evening = night.span.evening
    after = evening + timedelta(days=1)
    return RoomPage(
        card=card(line, words),
        air=_air(night, words),
        held_back=[capital(words.hold(row)) for row in held_back],
        people=[
            Person(person_id=p["person_id"], name=p["name"], chosen=p["person_id"] == whoever)
            for p in people
            if p["active"]
        ],
        span=words.span(night.span),
        night_title=_night_title(night, newest),
        chart=chart(night, words),
        dips=[_numbered(words.dip(night, dip)) for dip in night.dips],
        brief=words.brief(night),
        gaps=_gaps(night, words),
        texts=words.texts(night.tellings),
        trail=words.trail(night),
        cautions=words.cautions(co2=night.co2_is_or_was_high, cooler=night.is_cooler and bool(night.open_alarms)),
        nothing_to_answer=words.nothing_to_answer(night),
        chart_lines=_chart_lines(night, words),
        night_before=(evening - timedelta(days=1)).isoformat(),
        night_after=after.isoformat() if after <= newest else "",
    )


def _air(night: RoomNight, words: Words) -> str:
    """What temperature and humidity say together now."""
    air = night.air
    if air is None:
        return ""
    power, dew_point = air.drying_power, air.dew_point
    facts = AirFacts(
        power=power.value,
        low=power.low,
        high=power.high,
        decimals=power.decimals,
        dew_point=None if dew_point is None else dew_point.value,
        place=air.place if air.several else "",
    )
    return air_sentence(facts, words.units, words.language)


def _numbered(sentences: list[str]) -> NumberedDip:
    return NumberedDip(heading=sentences[0], sentences=sentences[1:])


def _night_title(night: RoomNight, newest: date) -> str:
    if night.span.is_running:
        return "Tonight"
    return "Last night" if night.span.evening == newest else "That night"


def _gaps(night: RoomNight, words: Words) -> list[str]:
    """How much of the night nobody can say anything about."""
    found = []
    for quantity in night.quantities:
        whole = quantity.outside.exposure
        unknown_ms = whole.to_ms - whole.from_ms - whole.known_ms
        if unknown_ms >= SHORTEST_GAP_MS:
            name = capital(words.language[1].quantity[quantity.quantity])
            found.append(f"{name}: no readings for {duration_ms(unknown_ms)} of it.")
    return found


def _chart_lines(night: RoomNight, words: Words) -> list[str]:
    """Which line is which probe, where a panel has several."""
    said, names = words.language
    same: dict[tuple[str, ...], list[str]] = {}
    for q in night.quantities:
        if len(q.lines) > 1:
            probes = tuple(line.place or line.probe_id for line in q.lines)
            same.setdefault(probes, []).append(names.quantity[q.quantity])
    return [
        said.chart_lines.format(what=capital(words.row(what)), first=probes[0], others=words.row(list(probes[1:])))
        for probes, what in same.items()
    ]
