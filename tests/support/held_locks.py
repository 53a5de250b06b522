"""Taking the locks that the service needs, from outside, to stop it at a known point."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager

import aiosqlite
import asyncpg

WRITER = "LOCK TABLE readings, deliveries IN EXCLUSIVE MODE"
ROOMS = "SELECT room_id FROM judgements FOR UPDATE"


@asynccontextmanager
async def held(url: str, statement: str = WRITER) -> AsyncGenerator[asyncpg.Connection | None]:
    """Hold the one writer of SQLite, or what ``statement`` locks on PostgreSQL (yielding that connection)."""
    if url.startswith("sqlite"):
        async with aiosqlite.connect(url.partition(":///")[2], isolation_level=None) as file:
            await file.execute("PRAGMA busy_timeout=20000")
            await file.execute("BEGIN IMMEDIATE")
            yield None
            await file.rollback()
        return
    connection = await asyncpg.connect(url.replace("+asyncpg", ""))
    transaction = connection.transaction()
    await transaction.start()
    try:
        await connection.execute(statement)
        yield connection
    finally:
        await transaction.rollback()
        await connection.close()


async def somebody_waits(connection: asyncpg.Connection) -> bool:
    """True when another session waits for a lock (PostgreSQL only)."""
    count: int = await connection.fetchval("SELECT count(*) FROM pg_locks WHERE NOT granted")
    return count > 0
