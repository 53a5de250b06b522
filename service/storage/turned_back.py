"""After the clock was set back: what was to happen at a moment that now lies far ahead happens now."""

from __future__ import annotations

from sqlalchemy import and_, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.storage.outbox import WAITING
from service.storage.tables import deliveries, notices


async def turn_back(
    connection: AsyncConnection, farm_id: int, *, now_ms: Instant, claimed_until_ms: Instant
) -> None:
    """Nobody further down a list, and nothing that waits to be tried again, waits until the clock has come round.

    Moments of what is told to its end stay as they were written. What somebody has in hand stays theirs until
    ``claimed_until_ms`` at most.
    """
    n, d = notices.c, deliveries.c
    unfinished = (n.farm_id == farm_id) & (n.addressed == 0)
    keys = select(n.notice_key).where(unfinished)
    await connection.execute(update(notices).where(unfinished, n.decided_ms > now_ms).values(decided_ms=now_ms))
    of_these = and_(d.farm_id == farm_id, d.notice_key.in_(keys), d.added_ms > now_ms)
    await connection.execute(update(deliveries).where(of_these).values(added_ms=now_ms))
    waiting = and_(d.farm_id == farm_id, d.state == WAITING)
    await connection.execute(update(deliveries).where(waiting, d.next_ms > now_ms).values(next_ms=now_ms))
    claimed = and_(waiting, d.claimed_until_ms > claimed_until_ms)
    await connection.execute(update(deliveries).where(claimed).values(claimed_until_ms=claimed_until_ms))
