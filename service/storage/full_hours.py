"""How many texts a person has had of late, and the summary of those that were not sent."""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import Any, Final

from sqlalchemy import Select, and_, func, or_, select
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import DAY_MS, Instant
from service.storage.outbox import SENT, UNSURE, WAITING
from service.storage.rows import Record, one
from service.storage.tables import deliveries, notices

SUMMARY = "summary"
LONGEST_WAY_MS: Final = DAY_MS
"""Nothing that is told to a person is of use, and so goes out, longer after it was added."""


async def texts_since(
    connection: AsyncConnection,
    farm_id: int,
    person_id: str,
    *,
    from_ms: Instant,
    ways: Collection[str],
    kinds: Collection[str] = (),
    but_kinds: Collection[str] = (),
) -> int:
    """Texts to a person that went out after ``from_ms``, and those that are on their way or tried again.

    Args:
        connection: of the transaction that asks before one more goes out.
        farm_id: the farm.
        person_id: the person.
        from_ms: what went out up to then does not count.
        ways: the ways that count.
        kinds: if given, only notices of these kinds count.
        but_kinds: notices of these kinds do not.
    """
    d, n = deliveries.c, notices.c
    went = and_(d.state.in_((SENT, UNSURE)), d.ended_ms > from_ms)
    goes = and_(d.state == WAITING, d.first_try_ms.is_not(None))
    lately = d.added_ms > from_ms - LONGEST_WAY_MS
    which = n.kind.in_(list(kinds)) if kinds else n.kind.not_in(list(but_kinds))
    statement = (
        select(func.count())
        .select_from(deliveries)
        .join(notices, and_(n.farm_id == d.farm_id, n.notice_key == d.notice_key))
        .where(d.farm_id == farm_id, d.person_id == person_id, lately, d.way.in_(list(ways)))
        .where(which, or_(went, goes))
    )
    return await connection.scalar(statement) or 0


async def untold_summary(
    connection: AsyncConnection, farm_id: int, person_id: str, *, since_ms: Instant
) -> Record | None:
    """The notice of a person's summary since a moment that waits and was not tried yet: there is room in it."""
    d = deliveries.c
    waits = and_(d.state == WAITING, d.first_try_ms.is_(None), d.claimed_until_ms == 0)
    row = await one(connection, _summaries(farm_id, person_id, since_ms).where(waits).limit(1))
    return None if row is None else {**row, "facts": json.loads(row["facts"])}


async def last_summary_ms(
    connection: AsyncConnection, farm_id: int, person_id: str, *, since_ms: Instant
) -> Instant | None:
    """For when a person's newest summary since a moment was meant."""
    row = await one(connection, _summaries(farm_id, person_id, since_ms).limit(1))
    return None if row is None else int(row["decided_ms"])


def _summaries(farm_id: int, person_id: str, since_ms: Instant) -> Select[Any]:
    d, n = deliveries.c, notices.c
    return (
        select(notices)
        .join(deliveries, and_(d.farm_id == n.farm_id, d.notice_key == n.notice_key))
        .where(n.farm_id == farm_id, n.kind == SUMMARY, d.person_id == person_id, d.added_ms >= since_ms)
        .order_by(n.decided_ms.desc())
    )
