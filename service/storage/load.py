"""What was raised and what was told in a span: read to see how much alarms ask of people."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import and_, case, func, or_, select

from rules.model import Instant
from service.storage.database import Connection
from service.storage.outbox import SENT, UNSURE
from service.storage.rows import Record, many
from service.storage.tables import deliveries, notices, transitions

_KEY = (transitions.c.room_id, transitions.c.quantity, transitions.c.side)


async def open_since(
    connection: Connection, farm_id: int, *, before_ms: Instant, open_states: Collection[str]
) -> list[Record]:
    """Alarms (``room_id``, ``quantity``, ``side``) that were open at a moment, each with its ``since_ms``."""
    t = transitions.c
    enters = and_(t.to_state.in_(open_states), t.from_state.not_in(open_states))
    leaves = and_(t.from_state.in_(open_states), t.to_state.not_in(open_states))
    entered_ms = func.max(case((enters, t.at_ms))).label("since_ms")
    left_ms = func.max(case((leaves, t.at_ms)))
    statement = (
        select(*_KEY, entered_ms)
        .where(t.farm_id == farm_id, t.at_ms < before_ms)
        .group_by(*_KEY)
        .having(or_(left_ms.is_(None), entered_ms > left_ms), entered_ms.is_not(None))
    )
    return await many(connection, statement.order_by(*_KEY))


async def moves_between(connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant) -> list[Record]:
    """Every move of every alarm in a span, alarm by alarm, in order of time."""
    t = transitions.c
    statement = (
        select(*_KEY, t.at_ms, t.from_state, t.to_state)
        .where(t.farm_id == farm_id, t.at_ms >= from_ms, t.at_ms < to_ms)
        .order_by(*_KEY, t.at_ms, t.decided_ms, t.happens)
    )
    return await many(connection, statement)


async def told_people(connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant) -> list[Record]:
    """What went out to people in a span: to whom, when, and the notice it was about; in order of time."""
    d, n = deliveries.c, notices.c
    told_ms = func.coalesce(d.ended_ms, d.first_try_ms)
    statement = (
        select(d.person_id, told_ms.label("told_ms"), n.notice_key, n.kind, n.room_id, n.at_ms, n.facts)
        .join(notices, and_(n.farm_id == d.farm_id, n.notice_key == d.notice_key))
        .where(d.farm_id == farm_id, d.state.in_((SENT, UNSURE)), told_ms >= from_ms, told_ms < to_ms)
        .order_by(told_ms, d.delivery_id)
    )
    return await many(connection, statement)
