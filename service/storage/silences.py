"""What was not heard, from when to when: kept for the round sheet and for whoever asks later.

A silence is begun once, under what is silent and since when; after that it only gets its marks: told, heard again,
ended.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from sqlalchemy import Select, func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import CONTACTS, Instant
from service.errors import NotFound
from service.storage.insert import insert_into
from service.storage.rows import Record, many
from service.storage.tables import alarms, probes, readings, series, silences

WHOLE_FARM: Final = frozenset({"site", "broker"})
"""Scopes of a silence that leaves nothing of the farm heard."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SilenceRow:
    """Something that was not heard."""

    scope: str
    name: str
    since_ms: Instant
    """When the last of it was heard."""
    noticed_ms: Instant
    told_ms: Instant | None = None
    """When people were told; ``None`` while it is for the round sheet only."""
    ended_ms: Instant | None = None
    happening_id: str | None = None
    """Where people were told."""
    facts: Mapping[str, Any] = field(default_factory=dict)


async def open_silences(connection: AsyncConnection, farm_id: int) -> list[SilenceRow]:
    """Silences that have not ended, oldest first."""
    return await _silences(connection, select(silences).where(_of(farm_id), silences.c.ended_ms.is_(None)))


async def silences_between(
    connection: AsyncConnection, farm_id: int, *, from_ms: Instant, to_ms: Instant
) -> list[SilenceRow]:
    """Silences that were under way in a span, oldest first."""
    s = silences.c
    under_way = (s.since_ms < to_ms) & (s.ended_ms.is_(None) | (s.ended_ms > from_ms))
    return await _silences(connection, select(silences).where(_of(farm_id), under_way))


async def last_told_ms(connection: AsyncConnection, farm_id: int, scope: str, name: str) -> Instant | None:
    """When people were last told that this is silent."""
    s = silences.c
    statement = select(func.max(s.told_ms)).where(_of(farm_id), s.scope == scope, s.name == name)
    found: Instant | None = await connection.scalar(statement)
    return found


async def save_silence(connection: AsyncConnection, farm_id: int, row: SilenceRow) -> None:
    """Begin a silence, or write how it stands now."""
    marks = {
        "told_ms": row.told_ms,
        "ended_ms": row.ended_ms,
        "happening_id": row.happening_id,
        "facts": json.dumps(row.facts),
    }
    key = {"farm_id": farm_id, "scope": str(row.scope), "name": row.name, "since_ms": row.since_ms}
    statement = insert_into(connection, silences).values({**key, "noticed_ms": row.noticed_ms, **marks})
    await connection.execute(statement.on_conflict_do_update(index_elements=list(key), set_=marks))


def _of(farm_id: int) -> Any:
    return silences.c.farm_id == farm_id


async def _silences(connection: AsyncConnection, statement: Select[Any]) -> list[SilenceRow]:
    rows = await many(connection, statement.order_by(silences.c.since_ms, silences.c.scope, silences.c.name))
    names = tuple(SilenceRow.__dataclass_fields__)
    return [SilenceRow(**{**{n: row[n] for n in names}, "facts": json.loads(row["facts"])}) for row in rows]


# --- what is known of hearing a probe ----------------------------------------------------------------------------


async def measured_series(connection: AsyncConnection, farm_id: int) -> dict[str, dict[str, int]]:
    """For each probe, what it measures (contacts apart) and the number of that series."""
    s = series.c
    contacts = [quantity.value for quantity in CONTACTS]
    statement = select(s.probe_id, s.quantity, s.series_id).where(
        s.farm_id == farm_id, s.quantity.not_in(contacts)
    )
    found: dict[str, dict[str, int]] = {}
    for probe, quantity, number in await connection.execute(statement):
        found.setdefault(probe, {})[quantity] = number
    return found


async def newest_times(
    connection: AsyncConnection, farm_id: int, series_id: int, *, limit: int
) -> list[tuple[Instant, Instant]]:
    """When the newest readings of a series were measured, and when they were received."""
    r = readings.c
    statement = (
        select(r.at_ms, r.at_ms + r.late_ms)
        .where(r.farm_id == farm_id, r.series_id == series_id)
        .order_by(r.at_ms.desc())
        .limit(limit)
    )
    return [(at_ms, received_ms) for at_ms, received_ms in await connection.execute(statement)]


async def set_gateway(connection: AsyncConnection, farm_id: int, probe_id: str, gateway: str | None) -> None:
    """Say through which gateway a probe is heard.

    Raises:
        NotFound: no such probe was ever heard or placed.
    """
    mine = (probes.c.farm_id == farm_id) & (probes.c.probe_id == probe_id)
    changed = await connection.execute(
        update(probes).where(mine).values(gateway=gateway).returning(probes.c.probe_id)
    )
    if changed.first() is None:
        raise NotFound(f"there is no probe {probe_id!r}")


async def open_alarms(connection: AsyncConnection, farm_id: int, room_ids: Iterable[str]) -> Sequence[Record]:
    """Alarms of these rooms that are not simply normal."""
    a = alarms.c
    return await many(connection, select(alarms).where(a.farm_id == farm_id, a.room_id.in_(list(room_ids))))
