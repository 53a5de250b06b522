"""Plain looks at what is kept, for pages and programs. Nothing here writes, decides or locks."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Select, func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.errors import NotFound
from service.storage.outbox import WAITING
from service.storage.rows import Record, many, one
from service.storage.tables import (
    alarms,
    attempts,
    batches,
    call_list,
    confirmations,
    deliveries,
    judgements,
    notices,
    people,
    rejected,
    rotas,
    transitions,
    turns,
)

BEGINNING_BYTES: Final = 4096
"""How much of a message that was not understood is shown in a list."""


# --- alarms and what was told ---------------------------------------------------------------------------------


async def judged_until(connection: AsyncConnection, farm_id: int, room_id: str) -> Instant | None:
    """Up to when a room is judged."""
    mine = (judgements.c.farm_id == farm_id) & (judgements.c.room_id == room_id)
    until_ms: Instant | None = await connection.scalar(select(judgements.c.judged_ms).where(mine))
    return until_ms


async def present_alarms(connection: AsyncConnection, farm_id: int, room_id: str | None = None) -> list[Record]:
    """Alarms that are not simply normal, of one room or of all; the oldest first."""
    statement = select(alarms).where(alarms.c.farm_id == farm_id)
    if room_id is not None:
        statement = statement.where(alarms.c.room_id == room_id)
    order = (alarms.c.since_ms, alarms.c.room_id, alarms.c.quantity, alarms.c.side)
    return await many(connection, statement.order_by(*order))


async def told_between(
    connection: AsyncConnection,
    farm_id: int,
    *,
    from_ms: Instant,
    to_ms: Instant,
    limit: int,
    room_id: str | None = None,
) -> list[Record]:
    """The told ledger of a span, newest first."""
    t = transitions.c
    statement = select(transitions).where(t.farm_id == farm_id, t.at_ms >= from_ms, t.at_ms < to_ms)
    if room_id is not None:
        statement = statement.where(t.room_id == room_id)
    newest_first = (t.at_ms.desc(), t.room_id, t.quantity, t.side, t.happens)
    return _with_facts(await many(connection, statement.order_by(*newest_first).limit(limit)))


async def newest_notices(
    connection: AsyncConnection, farm_id: int, *, from_ms: Instant, to_ms: Instant, limit: int
) -> list[Record]:
    """Notices about moments of a span, newest first."""
    n = notices.c
    statement = select(notices).where(n.farm_id == farm_id, n.at_ms >= from_ms, n.at_ms < to_ms)
    return _with_facts(await many(connection, statement.order_by(n.at_ms.desc(), n.notice_key).limit(limit)))


async def newest_tellings(
    connection: AsyncConnection,
    farm_id: int,
    *,
    from_ms: Instant,
    to_ms: Instant,
    limit: int,
    state: str | None = None,
) -> list[Record]:
    """Tellings of notices about moments of a span, newest first, each with its ``tries``."""
    d, n = deliveries.c, notices.c
    statement = (
        select(deliveries, n.kind, n.room_id, n.at_ms, n.use_by_ms)
        .join(notices, (n.farm_id == d.farm_id) & (n.notice_key == d.notice_key))
        .where(d.farm_id == farm_id, n.at_ms >= from_ms, n.at_ms < to_ms)
        .order_by(n.at_ms.desc(), d.notice_key, d.step, d.person_id, d.way)
        .limit(limit)
    )
    if state is not None:
        statement = statement.where(d.state == state)
    rows = await many(connection, statement)
    tries = await _tries_of(connection, farm_id, [row["delivery_id"] for row in rows])
    return [{**row, "tries": [t for t in tries if t["delivery_id"] == row["delivery_id"]]} for row in rows]


async def _tries_of(connection: AsyncConnection, farm_id: int, delivery_ids: Sequence[str]) -> list[Record]:
    a = attempts.c
    statement = select(attempts).where(a.farm_id == farm_id, a.delivery_id.in_(delivery_ids))
    return await many(connection, statement.order_by(a.delivery_id, a.attempt))


async def waiting_tellings(connection: AsyncConnection, farm_id: int) -> tuple[int, Instant | None]:
    """How many tellings wait to go out, and since when the longest waiting one should have."""
    d = deliveries.c
    statement = select(func.count(), func.min(d.next_ms)).where(d.farm_id == farm_id, d.state == WAITING)
    count, oldest_ms = (await connection.execute(statement)).one()
    return count, oldest_ms


# --- messages that were not understood --------------------------------------------------------------------------


async def newest_rejected(
    connection: AsyncConnection,
    farm_id: int,
    *,
    from_ms: Instant,
    to_ms: Instant,
    limit: int,
    probe_id: str | None = None,
) -> list[Record]:
    """Messages of a span that were not understood, newest first, with the beginning of each."""
    r = rejected.c
    beginning = func.substr(r.payload, 1, BEGINNING_BYTES, type_=r.payload.type)
    statement = _rejected(beginning).where(r.farm_id == farm_id, r.received_ms >= from_ms, r.received_ms < to_ms)
    if probe_id is not None:
        statement = statement.where(r.probe_id == probe_id)
    return await many(connection, statement.order_by(r.received_ms.desc(), r.rejected_id).limit(limit))


async def rejected_message(connection: AsyncConnection, farm_id: int, rejected_id: str) -> Record:
    """One message that was not understood, whole.

    Raises:
        NotFound: there is none of that id, or it is past its keeping time.
    """
    mine = (rejected.c.farm_id == farm_id) & (rejected.c.rejected_id == rejected_id)
    row = await one(connection, _rejected(rejected.c.payload).where(mine))
    if row is None:
        raise NotFound("there is no such message, or it is no longer kept")
    return row


def _rejected(message: Any) -> Select[Any]:
    r = rejected.c
    size = func.length(r.payload).label("size")
    said = (r.rejected_id, r.received_ms, r.topic, r.probe_id, r.reason, r.detail)
    return select(*said, size, message.label("message"))


# --- crops and people -------------------------------------------------------------------------------------------


async def confirmations_of(
    connection: AsyncConnection, farm_id: int, profile: str, version: int
) -> dict[str, Record]:
    """Who stands for the figures of a profile's stages, by stage."""
    c = confirmations.c
    mine = (c.farm_id == farm_id) & (c.profile == profile) & (c.version == version)
    return {row["stage"]: row for row in await many(connection, select(confirmations).where(mine))}


async def newest_batches(connection: AsyncConnection, farm_id: int, limit: int) -> list[Record]:
    """The batches written down last, the newest first."""
    b = batches.c
    statement = select(batches).where(b.farm_id == farm_id).order_by(b.recorded_ms.desc(), b.batch_id).limit(limit)
    return await many(connection, statement)


async def call_lines(connection: AsyncConnection, farm_id: int, daypart: str | None = None) -> list[Record]:
    """Lines of the call lists with the people or rotas on them, those who left as well, in order."""
    c, p, r = call_list.c, people.c, rotas.c
    name, active = func.coalesce(p.name, r.name).label("name"), func.coalesce(p.active, 1).label("active")
    known = (c.daypart, c.position, c.person_id, c.rota_id, c.after_ms, name, active, p.phone, p.email)
    statement = (
        select(*known)
        .join(people, (p.farm_id == c.farm_id) & (p.person_id == c.person_id), isouter=True)
        .join(rotas, (r.farm_id == c.farm_id) & (r.rota_id == c.rota_id), isouter=True)
        .where(c.farm_id == farm_id)
        .order_by(c.daypart, c.position)
    )
    return await many(connection, statement if daypart is None else statement.where(c.daypart == daypart))


async def people_with_turns(connection: AsyncConnection, farm_id: int) -> set[str]:
    """Everybody who has a turn of a rota."""
    found = await many(connection, select(turns.c.person_id).where(turns.c.farm_id == farm_id).distinct())
    return {str(row["person_id"]) for row in found}


def _with_facts(rows: Sequence[Record]) -> list[Record]:
    return [{**row, "facts": json.loads(row["facts"])} for row in rows]
