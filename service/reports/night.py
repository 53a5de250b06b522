"""One room's night: what was measured, the bands that held, the times outside them, who was told and who went."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from rules.alarm import OPEN, State
from rules.exposure import BandFrom, spread
from rules.holding import room_steps, spoken
from rules.model import HOUR_MS, Instant, Quantity, Reading, Side
from service.reports.air import Air, air_now
from service.reports.dips import Dip, Outside, outside
from service.reports.growing import CropThere, Growing, Profiles, growing
from service.reports.people_air import PeopleAir, people_air_of
from service.reports.shared_band import Clash
from service.reports.span import Span
from service.storage import nights, outbox, rooms
from service.storage.database import Connection
from service.storage.nights import Heard
from service.storage.rows import Record

SHOWN: Final = (
    Quantity.HUMIDITY,
    Quantity.TEMPERATURE,
    Quantity.CO2,
    Quantity.SOAK_WATER,
    Quantity.BLOCK_CORE,
    Quantity.PRODUCT_CORE,
)
"""What a page of a room shows, in this order: what crops have bands for."""
HIGH_CO2_PPM: Final = 5000.0
"""The usual limit for a working day's average in air (29 CFR 1910.1000 table Z-1, from memory)."""
LEAD_MS: Final = HOUR_MS
"""Readings from before the span tell what held at its beginning, and how often each probe speaks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One probe's readings of one quantity."""

    probe_id: str
    place: str
    points: tuple[tuple[Instant, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Present:
    """What a room holds now: its farthest-out probe."""

    value: float
    side: Side | None = None
    """Outside which side of its band; ``None`` inside."""
    edge: float | None = None
    """The edge it is outside of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityNight:
    """One quantity of a room over the span."""

    quantity: Quantity
    bands: tuple[BandFrom, ...]
    band_now: BandFrom
    lines: tuple[Line, ...]
    """By how far out the probe was, the farthest first."""
    now: Present | None
    """``None`` when no probe holds a value now."""
    spread: tuple[float, float] | None
    outside: Outside
    is_watched: bool
    """It has a text limit now: not to hear of it matters even where it was never heard."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomNight:
    """One room over the span, and how it stands now."""

    room: Record
    span: Span
    crops: tuple[CropThere, ...]
    """Those there now."""
    stages: frozenset[str]
    clashes: tuple[Clash, ...]
    """Of what no value suits all crops there now, with the compromise where one was stated."""
    quantities: tuple[QuantityNight, ...]
    dips: tuple[Dip, ...]
    """Of all quantities, in order of time: their place in this row is the number on the page, from 1."""
    places: Mapping[str, str]
    """Where each probe hangs or hung."""
    recent: tuple[Reading, ...]
    """What was measured there in the last hour."""
    altitude_m: float
    people: PeopleAir | None
    """How its air stands against the limits for people; ``None`` where CO2 was never heard."""
    grown_above_people_limit: bool
    """A stage there now is grown above the limit for people on purpose."""
    alarms: tuple[Record, ...]
    """Not simply normal now."""
    notices: tuple[Record, ...]
    tellings: tuple[Record, ...]
    answers: tuple[Record, ...]

    @property
    def open_alarms(self) -> tuple[Record, ...]:
        """Limits that are passed now."""
        return tuple(a for a in self.alarms if State(a["state"]) in OPEN)

    @property
    def is_held_back(self) -> bool:
        """True while a passed limit is told to nobody, because somebody works there or left it until a time."""
        return any(State(a["state"]) in {State.SHELVED, State.SUPPRESSED} for a in self.alarms)

    @property
    def waits_for_answer(self) -> bool:
        """True while an answer can still be taken: something is open, or came back and nobody answered."""
        return any(a["happening_id"] is not None for a in self.alarms)

    @property
    def out_now(self) -> tuple[QuantityNight, ...]:
        """Quantities outside their band at this moment."""
        return tuple(q for q in self.quantities if q.now is not None and q.now.side is not None)

    @property
    def air_out_before_entry(self) -> bool:
        """True where a limit for people is passed, or is meant to be."""
        return self.grown_above_people_limit or (self.people is not None and bool(self.people.passed))

    @property
    def co2_is_or_was_high(self) -> bool:
        """True when people have to be told to air out first, whatever the crop likes."""
        if self.air_out_before_entry or any(n["facts"].get("side") == Side.PEOPLE for n in self.notices):
            return True
        for q in self.quantities:
            if q.quantity is Quantity.CO2:
                seen = [*(q.spread or ()), *([q.now.value] if q.now else [])]
                out = q.now is not None and q.now.side is Side.HIGH
                return (
                    out or any(d.side is Side.HIGH for d in q.outside.dips) or max(seen, default=0) >= HIGH_CO2_PPM
                )
        return False

    @property
    def air(self) -> Air | None:
        """What its temperature and humidity say together now; worked out on demand, as few pages show it."""
        return air_now(self.recent, places=self.places, altitude_m=self.altitude_m, now_ms=self.span.now_ms)

    @property
    def is_cooler(self) -> bool:
        """A packing cooler holds what is picked already."""
        return bool(self.room["kind"] == rooms.COOLER)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """What was told and answered on the whole farm over the span."""

    alarms: Sequence[Record]
    notices: Sequence[Record]
    tellings: Sequence[Record]
    answers: Sequence[Record]

    def of(self, room_id: str) -> dict[str, Any]:
        """The part about one room; what was told of the whole farm is about every room that it names."""
        return {
            name: tuple(row for row in rows if row["room_id"] == room_id or room_id in row.get("about", ()))
            for name, rows in (
                ("alarms", self.alarms),
                ("notices", self.notices),
                ("tellings", self.tellings),
                ("answers", self.answers),
            )
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Books:
    """Where a report is read from."""

    connection: Connection
    farm: Record
    profiles: Profiles

    @property
    def farm_id(self) -> int:
        """The farm's number."""
        return int(self.farm["farm_id"])


async def read_ledger(books: Books, span: Span) -> Ledger:
    """Read the told ledger of a span."""
    connection, farm_id = books.connection, books.farm_id
    # What was said this very moment is part of a report that reaches the present.
    to_ms = span.to_ms + 1 if span.reaches_now else span.to_ms
    within = {"from_ms": span.from_ms, "to_ms": to_ms}
    # What went on when the span began was told before: whoever reads of it wants to know who was told, too.
    went_on = await nights.went_on(connection, farm_id, at_ms=span.from_ms)
    with_before = {"from_ms": min([span.from_ms, *went_on.values()]), "to_ms": to_ms}

    def belongs(row: Record) -> bool:
        return row["at_ms"] >= span.from_ms or row["happening_id"] in went_on

    ids = {room["text_name"]: room["room_id"] for room in await rooms.all_rooms(connection, farm_id)}
    return Ledger(
        alarms=await nights.open_alarms(connection, farm_id),
        notices=list(filter(belongs, await outbox.notices_between(connection, farm_id, **with_before))),
        tellings=[
            {**telling, "about": frozenset(ids.get(name) for name in telling["facts"].get("rooms", ()))}
            for telling in await nights.tellings_between(connection, farm_id, **with_before)
            if belongs(telling)
        ],
        answers=await nights.answers_between(connection, farm_id, **within),
    )


async def room_night(books: Books, room_id: str, span: Span, ledger: Ledger) -> RoomNight:
    """Tell one room's night.

    Raises:
        NotFound: the farm has no such room.
    """
    connection, farm_id = books.connection, books.farm_id
    room = await rooms.room(connection, farm_id, room_id)
    placed = await rooms.placements_in(connection, farm_id, room_id, from_ms=span.from_ms - LEAD_MS)
    heard = await heard_there(books, placed, span.from_ms - LEAD_MS, span.to_ms)
    hour_ago_ms = span.now_ms - LEAD_MS
    if span.reaches_now:
        recent = [h for h in heard if h.reading.at_ms >= hour_ago_ms]
    else:
        recent = await heard_there(books, placed, hour_ago_ms, span.now_ms + 1)
    material = _Material(
        span=span,
        crops=await growing(connection, farm_id, books.profiles, room_id),
        heard=heard,
        recent=recent,
        places={p["probe_id"]: p["place"] for p in placed},
    )
    quantities = tuple(material.quantity(q) for q in material.shown())
    return RoomNight(
        room=room,
        span=span,
        crops=material.crops.there(span.now_ms, books.farm["zone"]),
        stages=material.crops.stages_at(span.now_ms),
        clashes=material.crops.clashes_at(span.now_ms),
        quantities=quantities,
        dips=tuple(sorted((d for q in quantities for d in q.outside.dips), key=lambda d: d.from_ms)),
        places=material.places,
        recent=tuple(h.reading for h in recent),
        altitude_m=books.farm["altitude_m"],
        people=await people_air_of(connection, books.farm, room_id),
        grown_above_people_limit=any(
            crop.stage.above_people_limit for crop in material.crops.crops_at(span.now_ms)
        ),
        **ledger.of(room_id),
    )


async def heard_there(books: Books, placed: Sequence[Record], from_ms: Instant, to_ms: Instant) -> list[Heard]:
    """Readings of the room's probes while they hung in it."""
    probes = {p["probe_id"] for p in placed}
    found = await nights.heard_in(books.connection, books.farm_id, probes, SHOWN, from_ms=from_ms, to_ms=to_ms)
    hung: dict[str, list[tuple[Instant, Instant | None]]] = {}
    for p in placed:
        hung.setdefault(p["probe_id"], []).append((p["valid_from_ms"], p["valid_to_ms"]))
    return [
        h
        for h in found
        if any(a <= h.reading.at_ms and (b is None or h.reading.at_ms < b) for a, b in hung[h.reading.probe])
    ]


@dataclass(frozen=True, kw_only=True)
class _Material:
    """What one room's night is worked out from. Without slots, so that bands and limits are made only once."""

    span: Span
    crops: Growing
    heard: Sequence[Heard]
    recent: Sequence[Heard]
    places: Mapping[str, str]

    @cached_property
    def bands(self) -> Mapping[Quantity, tuple[BandFrom, ...]]:
        return self.crops.bands(self.span.from_ms, self.span.to_ms)

    @cached_property
    def limits(self) -> Mapping[Quantity, tuple[BandFrom, ...]]:
        return self.crops.text_limits(self.span.from_ms, self.span.to_ms)

    @cached_property
    def bands_now(self) -> Mapping[Quantity, tuple[BandFrom, ...]]:
        return self.crops.bands(self.span.now_ms, self.span.now_ms + 1)

    @cached_property
    def limits_now(self) -> Mapping[Quantity, tuple[BandFrom, ...]]:
        return self.crops.text_limits(self.span.now_ms, self.span.now_ms + 1)

    def shown(self) -> list[Quantity]:
        measured = {h.reading.quantity for h in self.heard}
        banded = set(self.bands)
        if Quantity.TEMPERATURE in self.limits:
            banded -= {Quantity.BLOCK_CORE}  # few houses have such a probe, and the air is watched without it
        return [q for q in SHOWN if q in measured or q in banded]

    def quantity(self, quantity: Quantity) -> QuantityNight:
        span = self.span
        heard = [h for h in self.heard if h.reading.quantity is quantity]
        recent = [h for h in self.recent if h.reading.quantity is quantity]
        bands, limits = self.bands.get(quantity, ()), self.limits.get(quantity, ())
        within = {"from_ms": span.from_ms, "to_ms": span.to_ms}
        found = outside(heard, quantity=quantity, bands=bands, limits=limits, **within)
        holding = self.bands_now.get(quantity, ())
        band_now = BandFrom(from_ms=0, low=holding[-1].low, high=holding[-1].high) if holding else _NO_BAND
        return QuantityNight(
            quantity=quantity,
            bands=bands,
            band_now=band_now,
            lines=_lines(heard, span, self.places, found),
            now=_present(recent, band_now, span.now_ms),
            spread=spread((h.reading for h in heard), **within),
            outside=found,
            is_watched=quantity in self.limits_now,
        )


_NO_BAND: Final = BandFrom(from_ms=0)


def _lines(heard: Sequence[Heard], span: Span, places: Mapping[str, str], found: Outside) -> tuple[Line, ...]:
    points: dict[str, list[tuple[Instant, float]]] = {}
    for h in heard:
        if span.from_ms <= h.reading.at_ms < span.to_ms:
            points.setdefault(h.reading.probe, []).append((h.reading.at_ms, h.reading.value))
    deepest = [dip.worst_probe for dip in sorted(found.dips, key=lambda dip: -dip.area)]
    rank: dict[str | None, int] = {p: len(deepest) - n for n, p in reversed(list(enumerate(deepest)))}
    return tuple(
        Line(probe_id=probe, place=places.get(probe, ""), points=tuple(points[probe]))
        for probe in sorted(points, key=lambda p: (-rank.get(p, 0), p))
    )


def _present(recent: Sequence[Heard], band: BandFrom, now_ms: Instant) -> Present | None:
    probes = spoken(h.reading for h in recent).values()
    *_, last = room_steps(probes, from_ms=now_ms, to_ms=now_ms + 1)
    if last.lowest is None or last.highest is None:
        return None
    for side, value in ((Side.LOW, last.lowest), (Side.HIGH, last.highest)):
        if band.depth(value, side) > 0:
            return Present(value=value, side=side, edge=band.edge(side))
    return Present(value=_nearest_an_edge(last.lowest, last.highest, band))


def _nearest_an_edge(lowest: float, highest: float, band: BandFrom) -> float:
    if band.high is None:
        return lowest
    if band.low is None:
        return highest
    return lowest if lowest - band.low <= band.high - highest else highest
