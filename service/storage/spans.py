"""Readings for people to look at: the newest of each series, and long spans page by page.

A page is read series by series along the key, so it costs as much on the last page of a year as on the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from sqlalchemy import Integer, Select, literal, select, union_all
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.storage.readings import stored_values
from service.storage.rooms import placements_in
from service.storage.tables import readings, series

After: TypeAlias = tuple[Instant, str, str]
"""The last row of a page: moment, probe, quantity."""

PIECES_AT_ONCE: Final = 400
"""SQLite joins at most 500 selections in one statement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """One reading as it is kept."""

    probe: str
    quantity: str
    at_ms: Instant
    value: float
    late_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch of one series, from a moment (inclusive) to another (exclusive)."""

    probe: str
    quantity: str
    series_id: int
    from_ms: Instant
    to_ms: Instant


async def newest_values(
    connection: AsyncConnection, farm_id: int, probe_ids: Iterable[str] | None = None
) -> list[Kept]:
    """The newest reading of each series (of these probes, or of all), by probe and quantity."""
    newest = (
        select(readings.c.at_ms)
        .where(readings.c.farm_id == series.c.farm_id, readings.c.series_id == series.c.series_id)
        .order_by(readings.c.at_ms.desc())
        .limit(1)
        .scalar_subquery()
    )
    s = series.c
    statement = select(s.probe_id, s.quantity, s.series_id, newest).where(s.farm_id == farm_id)
    if probe_ids is not None:
        statement = statement.where(s.probe_id.in_(list(probe_ids)))
    found = [
        row for row in await connection.execute(statement.order_by(s.probe_id, s.quantity)) if row[3] is not None
    ]
    values = await stored_values(connection, farm_id, [(row[2], row[3]) for row in found])
    return [
        Kept(probe=probe, quantity=quantity, at_ms=at_ms, value=values[number, at_ms], late_ms=0)
        for probe, quantity, number, at_ms in found
    ]


async def pieces_of_probe(
    connection: AsyncConnection, farm_id: int, probe_id: str, *, from_ms: Instant, to_ms: Instant
) -> list[Piece]:
    """All that a probe measured in a span."""
    return await pieces_between(connection, farm_id, [(probe_id, from_ms, to_ms)])


async def pieces_of_room(
    connection: AsyncConnection, farm_id: int, room_id: str, *, from_ms: Instant, to_ms: Instant
) -> list[Piece]:
    """All that was measured in a room in a span: each probe for as long as it hung there."""
    placed = await placements_in(connection, farm_id, room_id, from_ms=from_ms)
    hung = [
        (
            p["probe_id"],
            max(from_ms, p["valid_from_ms"]),
            to_ms if p["valid_to_ms"] is None else min(to_ms, p["valid_to_ms"]),
        )
        for p in placed
    ]
    return await pieces_between(connection, farm_id, hung)


async def pieces_between(
    connection: AsyncConnection, farm_id: int, spans: Sequence[tuple[str, Instant, Instant]]
) -> list[Piece]:
    """All that probes measured, each from a moment (inclusive) to another (exclusive)."""
    s = series.c
    statement = select(s.probe_id, s.quantity, s.series_id).where(
        s.farm_id == farm_id, s.probe_id.in_({probe for probe, _, _ in spans})
    )
    numbered = (await connection.execute(statement)).all()
    return [
        Piece(probe=probe, quantity=quantity, series_id=number, from_ms=from_ms, to_ms=to_ms)
        for probe, from_ms, to_ms in spans
        for named, quantity, number in numbered
        if named == probe and from_ms < to_ms
    ]


async def page(
    connection: AsyncConnection, farm_id: int, pieces: Iterable[Piece], *, after: After | None, limit: int
) -> list[Kept]:
    """The first ``limit`` readings behind ``after``, ordered by moment, probe and quantity."""
    ranked = sorted(pieces, key=lambda p: (p.probe, p.quantity, p.from_ms))
    found: list[tuple[Instant, int, float, int]] = []
    for start in range(0, len(ranked), PIECES_AT_ONCE):
        part = ranked[start : start + PIECES_AT_ONCE]
        chosen = [_first_of(farm_id, piece, rank, after, limit) for rank, piece in enumerate(part, start)]
        together = union_all(*chosen).subquery()
        statement = select(together).order_by(together.c.at_ms, together.c.rank).limit(limit)
        found += [(at, rank, value, late) for at, rank, value, late in await connection.execute(statement)]
    return [
        Kept(probe=ranked[rank].probe, quantity=ranked[rank].quantity, at_ms=at, value=value, late_ms=late)
        for at, rank, value, late in sorted(found)[:limit]
    ]


def _first_of(farm_id: int, piece: Piece, rank: int, after: After | None, limit: int) -> Select[Any]:
    r = readings.c
    from_ms = piece.from_ms
    if after is not None:
        behind = (piece.probe, piece.quantity) > after[1:]
        from_ms = max(from_ms, after[0] if behind else after[0] + 1)
    first = (
        select(r.at_ms, literal(rank, Integer).label("rank"), r.value, r.late_ms)
        .where(r.farm_id == farm_id, r.series_id == piece.series_id, r.at_ms >= from_ms, r.at_ms < piece.to_ms)
        .order_by(r.at_ms)
        .limit(limit)
        .subquery()
    )
    return select(first)
