"""Happenings with the trail of who was told and what they said; nothing here writes."""

from __future__ import annotations

import json
from collections.abc import Collection

from sqlalchemy import and_, func, select

from rules.model import Instant
from service.errors import NotFound
from service.storage.database import Connection
from service.storage.outbox import SENT, UNSURE
from service.storage.rows import Record, many, one
from service.storage.tables import answers, deliveries, happenings, notices, people


async def happenings_between(
    connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant, limit: int | None = None
) -> list[Record]:
    """Happenings that were under way in a span, the newest first."""
    h = happenings.c
    under_way = and_(h.began_ms < to_ms, h.ended_ms.is_(None) | (h.ended_ms >= from_ms))
    statement = select(happenings).where(h.farm_id == farm_id, under_way)
    return await many(connection, statement.order_by(h.began_ms.desc(), h.happening_id).limit(limit))


async def happening(connection: Connection, farm_id: int, happening_id: str) -> Record:
    """One happening.

    Raises:
        NotFound: there is none of that id.
    """
    h = happenings.c
    row = await one(connection, select(happenings).where(h.farm_id == farm_id, h.happening_id == happening_id))
    if row is None:
        raise NotFound(f"there is no happening {happening_id!r}")
    return row


async def notices_of(connection: Connection, farm_id: int, happening_ids: Collection[str]) -> list[Record]:
    """The notices of these happenings, oldest first."""
    n = notices.c
    statement = select(notices).where(n.farm_id == farm_id, n.happening_id.in_(list(happening_ids)))
    rows = await many(connection, statement.order_by(n.at_ms, n.notice_key))
    return [{**row, "facts": json.loads(row["facts"])} for row in rows]


async def tellings_of(connection: Connection, farm_id: int, happening_ids: Collection[str]) -> list[Record]:
    """Every telling of these happenings with the name of who was told, in the order in which they were added."""
    d, n, p = deliveries.c, notices.c, people.c
    statement = (
        select(deliveries, n.happening_id, n.kind, n.at_ms, p.name)
        .join(notices, and_(n.farm_id == d.farm_id, n.notice_key == d.notice_key))
        .outerjoin(people, and_(p.farm_id == d.farm_id, p.person_id == d.person_id))
        .where(d.farm_id == farm_id, n.happening_id.in_(list(happening_ids)))
        .order_by(d.added_ms, d.notice_key, d.step, d.person_id, d.way)
    )
    return await many(connection, statement)


async def answers_of(connection: Connection, farm_id: int, happening_ids: Collection[str]) -> list[Record]:
    """What people answered about these happenings, with their names, oldest first."""
    a, p = answers.c, people.c
    statement = (
        select(answers, p.name)
        .outerjoin(people, and_(p.farm_id == a.farm_id, p.person_id == a.person_id))
        .where(a.farm_id == farm_id, a.happening_id.in_(list(happening_ids)))
        .order_by(a.at_ms, a.person_id, a.word)
    )
    return await many(connection, statement)


async def told_between(connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant) -> list[Record]:
    """What went out to people about happenings in a span, in order: tellings with notice and ``told_ms``."""
    d, n, p = deliveries.c, notices.c, people.c
    told_ms = func.coalesce(d.ended_ms, d.first_try_ms)
    statement = (
        select(d.notice_key, d.person_id, d.way, d.text, told_ms.label("told_ms"), p.name)
        .add_columns(n.kind, n.room_id, n.happening_id, n.at_ms)
        .join(notices, and_(n.farm_id == d.farm_id, n.notice_key == d.notice_key))
        .join(people, and_(p.farm_id == d.farm_id, p.person_id == d.person_id))
        .where(d.farm_id == farm_id, d.state.in_((SENT, UNSURE)), n.happening_id.is_not(None))
        .where(told_ms >= from_ms, told_ms < to_ms)
        .order_by(told_ms, d.delivery_id)
    )
    return await many(connection, statement)
