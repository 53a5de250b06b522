"""What the sheet notes beside the rooms: who did not answer a test."""

from __future__ import annotations

from sqlalchemy import and_, func, select

from rules.model import Instant
from service.storage.database import Connection
from service.storage.rows import Record, many
from service.storage.tables import people, trials


async def unanswered_trials(
    connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant
) -> list[Record]:
    """Tests of a span that nobody answered, by people who are still with the farm: for each kind the newest only.

    Each with the ``name`` of who was asked. A test that was answered makes up for those before it.
    """
    t, p = trials.c, people.c
    newest = (
        select(t.person_id, t.kind, func.max(t.at_ms).label("newest_ms"))
        .where(t.farm_id == farm_id, t.at_ms < to_ms)
        .group_by(t.person_id, t.kind)
        .subquery()
    )
    is_newest = and_(newest.c.person_id == t.person_id, newest.c.kind == t.kind, newest.c.newest_ms == t.at_ms)
    statement = (
        select(trials, p.name)
        .join(newest, is_newest)
        .join(people, and_(p.farm_id == t.farm_id, p.person_id == t.person_id))
        .where(t.farm_id == farm_id, t.at_ms >= from_ms, t.answered_ms.is_(None), p.active == 1)
        .order_by(p.name, t.kind)
    )
    return await many(connection, statement)
