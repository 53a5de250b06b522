"""Readings, the probes they come from, and the messages that were not understood."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias
from uuid import uuid4

from sqlalchemy import BigInteger, Integer, Select, and_, column, func, select, values
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant, ProbeId, Quantity, Reading
from service.messages import Incoming, Rejected
from service.storage.insert import insert_into
from service.storage.tables import farms, placements, probes, readings, rejected, series, tallies

SeriesKey: TypeAlias = tuple[ProbeId, Quantity]
CHUNK = 500
MOST_OF_A_MESSAGE: Final = 20
"""Every row of a rejected message holds all of it: a pack of ten thousand bad values must not be kept so often."""
MOST_BYTES_KEPT: Final = 4_194_304
"""Four times what is read of a message; the broker may let through a hundred times as much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One reading as it is kept."""

    series_id: int
    at_ms: Instant
    value: float
    late_ms: int


async def series_ids(
    connection: AsyncConnection, farm_id: int, wanted: Iterable[SeriesKey]
) -> dict[SeriesKey, int]:
    """The numbers of the series in ``wanted``; new ones are numbered."""
    keys = set(wanted)
    found = await _known_series(connection, farm_id, keys)
    if missing := sorted(keys - found.keys()):
        # Two recorders of one farm must not give out the same number.
        await connection.execute(select(farms.c.farm_id).where(farms.c.farm_id == farm_id).with_for_update())
        found = await _known_series(connection, farm_id, keys)
        missing = sorted(keys - found.keys())
        top = await connection.scalar(select(func.max(series.c.series_id)).where(series.c.farm_id == farm_id))
        for number, (probe, quantity) in enumerate(missing, start=(top or 0) + 1):
            row = {"farm_id": farm_id, "series_id": number, "probe_id": probe, "quantity": quantity.value}
            await connection.execute(insert_into(connection, series).values(row))
            found[probe, quantity] = number
    return found


async def _known_series(connection: AsyncConnection, farm_id: int, keys: set[SeriesKey]) -> dict[SeriesKey, int]:
    statement = select(series.c.probe_id, series.c.quantity, series.c.series_id).where(
        series.c.farm_id == farm_id, series.c.probe_id.in_({probe for probe, _ in keys})
    )
    rows = (await connection.execute(statement)).all()
    return {(ProbeId(p), Quantity(q)): n for p, q, n in rows if (p, Quantity(q)) in keys}


async def insert_new(connection: AsyncConnection, farm_id: int, rows: Sequence[Row]) -> set[tuple[int, Instant]]:
    """Keep the rows whose (series, time) is not there yet; return the identities that were new."""
    if not rows:
        return set()
    statement = (
        insert_into(connection, readings)
        .on_conflict_do_nothing(index_elements=["farm_id", "series_id", "at_ms"])
        .returning(readings.c.series_id, readings.c.at_ms)
    )
    values = [
        {"farm_id": farm_id, "series_id": r.series_id, "at_ms": r.at_ms, "value": r.value, "late_ms": r.late_ms}
        for r in rows
    ]
    return {(s, t) for s, t in await connection.execute(statement, values)}


async def stored_values(
    connection: AsyncConnection, farm_id: int, identities: Sequence[tuple[int, Instant]]
) -> dict[tuple[int, Instant], float]:
    """The values that are kept under these identities."""
    found: dict[tuple[int, Instant], float] = {}
    for start in range(0, len(identities), CHUNK):
        part = identities[start : start + CHUNK]
        # Joined, not "IN": SQLite does not use the key for a list of pairs, and would read the whole table.
        asked = values(column("series_id", Integer), column("at_ms", BigInteger), name="asked").data(part).cte()
        same = (readings.c.series_id == asked.c.series_id) & (readings.c.at_ms == asked.c.at_ms)
        statement = (
            select(readings.c.series_id, readings.c.at_ms, readings.c.value)
            .join_from(asked, readings, same)
            .where(readings.c.farm_id == farm_id)
        )
        found |= {(s, t): v for s, t, v in await connection.execute(statement)}
    return found


async def newest(connection: AsyncConnection, farm_id: int, series_id: int) -> tuple[Instant, float] | None:
    """Time and value of the newest reading of a series."""
    statement = (
        select(readings.c.at_ms, readings.c.value)
        .where(readings.c.farm_id == farm_id, readings.c.series_id == series_id)
        .order_by(readings.c.at_ms.desc())
        .limit(1)
    )
    row = (await connection.execute(statement)).first()
    return (row[0], row[1]) if row else None


async def moments_from(
    connection: AsyncConnection, farm_id: int, series_id: int, from_ms: Instant, *, most: int = 1000
) -> set[Instant]:
    """The moments of the oldest readings of a series from ``from_ms`` on."""
    statement = (
        select(readings.c.at_ms)
        .where(readings.c.farm_id == farm_id, readings.c.series_id == series_id, readings.c.at_ms >= from_ms)
        .order_by(readings.c.at_ms)
        .limit(most)
    )
    return set(await connection.scalars(statement))


async def span(
    connection: AsyncConnection,
    farm_id: int,
    probe_ids: Iterable[str],
    *,
    from_ms: Instant,
    to_ms: Instant,
    quantities: Iterable[Quantity] = (),
) -> list[Reading]:
    """Readings of these probes from ``from_ms`` (inclusive) to ``to_ms`` (exclusive), oldest first."""
    statement = (
        select(series.c.probe_id, series.c.quantity, readings.c.at_ms, readings.c.value)
        .join(readings, and_(readings.c.farm_id == series.c.farm_id, readings.c.series_id == series.c.series_id))
        .where(
            readings.c.farm_id == farm_id,
            readings.c.series_id.in_(numbers_of(farm_id, probe_ids, quantities)),
            readings.c.at_ms >= from_ms,
            readings.c.at_ms < to_ms,
        )
        .order_by(readings.c.at_ms, series.c.probe_id, series.c.quantity)
    )
    return [
        Reading(probe=ProbeId(p), quantity=Quantity(q), at_ms=t, value=v)
        for p, q, t, v in await connection.execute(statement)
    ]


def numbers_of(farm_id: int, probe_ids: Iterable[str], quantities: Iterable[Quantity] = ()) -> Select[tuple[int]]:
    """The numbers of these probes' series, as a condition on readings.

    Joined by probe alone, SQLite would go through every reading of the farm and look up the probe of each.
    """
    statement = select(series.c.series_id).where(
        series.c.farm_id == farm_id, series.c.probe_id.in_(list(probe_ids))
    )
    wanted = [q.value for q in quantities]
    return statement.where(series.c.quantity.in_(wanted)) if wanted else statement


async def keep_rejected(
    connection: AsyncConnection, farm_id: int, kept: Sequence[tuple[Incoming, Rejected]]
) -> None:
    """Keep what was not understood, with its bytes. Text is cleaned of NUL, which one database cannot hold."""
    of_one: dict[int, list[tuple[Incoming, Rejected]]] = {}
    for incoming, why in kept:
        of_one.setdefault(id(incoming), []).append((incoming, why))
    rows = [_rejected_row(farm_id, *one) for each in of_one.values() for one in _bounded(each)]
    if rows:
        await connection.execute(insert_into(connection, rejected), rows)


def _bounded(of_one: list[tuple[Incoming, Rejected]]) -> list[tuple[Incoming, Rejected]]:
    """What is kept of one message's reasons; the last one kept says how many more there were."""
    more = len(of_one) - MOST_OF_A_MESSAGE
    if more <= 0:
        return of_one
    *first, (incoming, why) = of_one[:MOST_OF_A_MESSAGE]
    return [*first, (incoming, replace(why, detail=f"{why.detail}; and {more} more in this message"))]


def _rejected_row(farm_id: int, incoming: Incoming, why: Rejected) -> dict[str, Any]:
    return {
        "farm_id": farm_id,
        "rejected_id": uuid4().hex,
        "received_ms": incoming.received_ms,
        "topic": _clean(incoming.topic),
        "probe_id": None if why.probe is None else _clean(why.probe),
        "reason": why.reason.value,
        "detail": _clean(why.detail),
        "payload": incoming.payload[:MOST_BYTES_KEPT],
    }


def _clean(text: str) -> str:
    return text.encode("utf-8", "replace").decode().replace("\x00", "\N{SYMBOL FOR NULL}")


async def forget_rejected(connection: AsyncConnection, farm_id: int, before_ms: Instant) -> None:
    """Drop rejected messages that are older than their keeping time."""
    await connection.execute(
        rejected.delete().where(rejected.c.farm_id == farm_id, rejected.c.received_ms < before_ms)
    )


async def unknown_probes(connection: AsyncConnection, farm_id: int, heard: Iterable[ProbeId]) -> set[ProbeId]:
    """Those of ``heard`` that were never heard before."""
    names = set(heard)
    statement = select(probes.c.probe_id).where(probes.c.farm_id == farm_id, probes.c.probe_id.in_(names))
    return names - {ProbeId(p) for p in await connection.scalars(statement)}


async def waiting_probes(connection: AsyncConnection, farm_id: int) -> int:
    """How many probes are heard but were never placed."""
    placed = select(placements.c.probe_id).where(placements.c.farm_id == farm_id)
    statement = (
        select(func.count())
        .select_from(probes)
        .where(probes.c.farm_id == farm_id, probes.c.probe_id.not_in(placed))
    )
    return await connection.scalar(statement) or 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """When a probe was first and last heard, by our clock; ``last_ms`` is 0 while it was only heard of."""

    first_ms: Instant
    last_ms: Instant
    gateway: str | None = None
    """Through which gateway, where that was said."""


async def heard(connection: AsyncConnection, farm_id: int, by_probe: Mapping[ProbeId, Heard]) -> None:
    """Remember when each probe was last heard."""
    statement = insert_into(connection, probes)
    newer = statement.excluded.last_heard_ms
    statement = statement.on_conflict_do_update(
        index_elements=["farm_id", "probe_id"],
        set_={
            "last_heard_ms": newer,
            "gateway": func.coalesce(statement.excluded.gateway, probes.c.gateway),
        },
        where=probes.c.last_heard_ms < newer,
    )
    rows = [
        {
            "farm_id": farm_id,
            "probe_id": probe,
            "first_heard_ms": h.first_ms,
            "last_heard_ms": h.last_ms,
            "gateway": h.gateway,
        }
        for probe, h in sorted(by_probe.items())
    ]
    if rows:
        await connection.execute(statement, rows)


async def tally(connection: AsyncConnection, farm_id: int, counts: Mapping[str, int]) -> None:
    """Add to the counters that the machine room shows."""
    statement = insert_into(connection, tallies)
    statement = statement.on_conflict_do_update(
        index_elements=["farm_id", "name"], set_={"total": tallies.c.total + statement.excluded.total}
    )
    rows = [{"farm_id": farm_id, "name": name, "total": n} for name, n in sorted(counts.items()) if n]
    if rows:
        await connection.execute(statement, rows)
