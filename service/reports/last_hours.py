"""A room's last hours as a picture beside a mail: what was measured, and the limit that it is about."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from html import unescape
from typing import Any, Final

from rules.model import CONTACTS, HOUR_MS, MINUTE_MS, SECOND_MS, Instant, Quantity, Side
from service.localtime import local
from service.storage import nights, rooms
from service.storage.database import Connection
from service.storage.rows import Record
from service.wording.language import Language
from service.wording.night_chart import BandStep, Panel, night_chart
from service.wording.phrases import PHRASES_IN
from service.wording.png import png_of
from service.wording.units import Units

SPAN_MS: Final = 6 * HOUR_MS
_WIDTH: Final = 358
"""As wide as a phone held upright shows it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A PNG, and the same in words."""

    png: bytes
    alt: str


async def last_hours(
    connection: Connection,
    farm: Record,
    room_id: str,
    facts: dict[str, Any],
    *,
    now_ms: Instant,
    units: Units,
    language: Language,
) -> Picture | None:
    """Draw the quantity that a notice's ``facts`` are about; ``None`` when there is nothing to draw."""
    quantity = Quantity(facts["quantity"])
    lines = [] if quantity in CONTACTS else await _lines(connection, farm["farm_id"], room_id, quantity, now_ms)
    if not lines:
        return None
    from_ms = now_ms - SPAN_MS
    first, *others = lines
    phrases = PHRASES_IN[language]
    panel = Panel(
        quantity=quantity, points=first, beside=others, bands=tuple(_inside(facts, from_ms, now_ms)), units=units
    )
    svg = night_chart(
        panels=[panel],
        from_ms=from_ms,
        to_ms=now_ms,
        ticks=list(_hours(from_ms, now_ms, farm["zone"])),
        width=_WIDTH,
        phrases=phrases,
    )
    return Picture(png=png_of(svg), alt=_said(svg))


async def _lines(
    connection: Connection, farm_id: int, room_id: str, quantity: Quantity, now_ms: Instant
) -> list[list[tuple[Instant, float]]]:
    """What each probe measured while it hung in the room, the one with the most readings first."""
    from_ms = now_ms - SPAN_MS
    placed = await rooms.placements_in(connection, farm_id, room_id, from_ms=from_ms)
    probes = {p["probe_id"] for p in placed}
    found = await nights.heard_in(connection, farm_id, probes, [quantity], from_ms=from_ms, to_ms=now_ms + 1)
    lines: dict[str, list[tuple[Instant, float]]] = {}
    for reading in (one.reading for one in found):
        hung = (p for p in placed if p["probe_id"] == reading.probe)
        if any(_hung_at(p, reading.at_ms) for p in hung):
            lines.setdefault(reading.probe, []).append((reading.at_ms, reading.value))
    return sorted(lines.values(), key=len, reverse=True)


def _hung_at(placed: Record, at_ms: Instant) -> bool:
    until_ms = placed["valid_to_ms"]
    return bool(placed["valid_from_ms"] <= at_ms and (until_ms is None or at_ms < until_ms))


def _inside(facts: dict[str, Any], from_ms: Instant, to_ms: Instant) -> Iterator[BandStep]:
    """What is on the right side of the limit, shaded."""
    limit = facts.get("limit")
    if limit is not None:
        is_low = facts["side"] == Side.LOW
        yield BandStep(from_ms=from_ms, to_ms=to_ms, low=limit if is_low else None, high=None if is_low else limit)


def _hours(from_ms: Instant, to_ms: Instant, zone: str) -> Iterator[tuple[Instant, str]]:
    """The full hours of the farm's clock, which need not be full hours of ours."""
    begin = local(from_ms, zone)
    at = from_ms - begin.minute * MINUTE_MS - begin.second * SECOND_MS - begin.microsecond // 1000 + HOUR_MS
    while at <= to_ms:
        yield at, f"{local(at, zone).hour:02d}"
        at += HOUR_MS


def _said(svg: str) -> str:
    found = re.search(r'aria-label="([^"]*)"', svg)
    return unescape(found[1]) if found else ""
