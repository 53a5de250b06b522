"""Tests of the way to a person and back: when each was sent, whether it arrived, and when it was answered."""

from __future__ import annotations

from sqlalchemy import func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import HOUR_MS, Instant
from service.storage.insert import insert_into
from service.storage.rows import Record, many
from service.storage.tables import deliveries, people, trials

NIGHT_RING = "night ring"
RING_MS = HOUR_MS
"""Who answers later than that was not woken by it: they saw it when they looked (our judgement)."""


async def add_trial(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Write down a test; said twice, it is there once."""
    row = {"answered_ms": None, "answered_by": None, **values, "farm_id": farm_id}
    await connection.execute(insert_into(connection, trials).values(row).on_conflict_do_nothing())


async def trials_since(connection: AsyncConnection, farm_id: int, since_ms: Instant) -> list[Record]:
    """Tests since a moment, newest first, each with who it went to and what came of its telling."""
    t, p, d = trials.c, people.c, deliveries.c
    statement = (
        select(trials, p.name, d.way, d.state, d.receipt)
        .join(people, (p.farm_id == t.farm_id) & (p.person_id == t.person_id))
        .join(deliveries, (d.farm_id == t.farm_id) & (d.delivery_id == t.delivery_id), isouter=True)
        .where(t.farm_id == farm_id, t.at_ms >= since_ms)
        .order_by(t.at_ms.desc(), p.name, t.trial_id)
    )
    return await many(connection, statement)


async def heard_it_ring(connection: AsyncConnection, farm_id: int, person_id: str, at_ms: Instant) -> bool:
    """A person says that the phone woke them; true where a night test of the last hour is answered by that."""
    t = trials.c
    mine = (t.farm_id == farm_id) & (t.person_id == person_id) & (t.kind == NIGHT_RING)
    sent_ms = await connection.scalar(select(func.max(t.at_ms)).where(mine, t.at_ms <= at_ms))
    if sent_ms is None or at_ms - sent_ms > RING_MS:
        return False
    first = mine & (t.at_ms == sent_ms) & t.answered_ms.is_(None)
    await connection.execute(update(trials).where(first).values(answered_ms=at_ms, answered_by=person_id))
    person = (people.c.farm_id == farm_id) & (people.c.person_id == person_id)
    await connection.execute(update(people).where(person).values(rang_ms=at_ms))
    return True
