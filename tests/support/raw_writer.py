"""A database driver writing rows of readings, and nothing else: the yardstick for recording."""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncGenerator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager, closing
from typing import Final, TypeAlias

import asyncpg

from rules.model import Instant
from service.storage.database import Database

RawRow: TypeAlias = tuple[int, Instant, float, int]
"""Series, moment, value, lateness."""
Write: TypeAlias = Callable[[Sequence[RawRow]], Awaitable[None]]

_FARM: Final = 999
_INSERT: Final = f"INSERT INTO readings (farm_id, series_id, at_ms, value, late_ms) VALUES ({_FARM}, "


@asynccontextmanager
async def raw_writer(database: Database) -> AsyncGenerator[Write]:
    """Write rows into the readings of a farm of their own, one transaction to a call."""
    async with _sqlite(database) if database.is_sqlite else _postgres(database) as write:
        yield write


@asynccontextmanager
async def _sqlite(database: Database) -> AsyncGenerator[Write]:
    with closing(sqlite3.connect(str(database.url.database), isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous=FULL")

        async def write(rows: Sequence[RawRow]) -> None:
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(f"{_INSERT}?, ?, ?, ?)", rows)
            connection.execute("COMMIT")

        yield write


@asynccontextmanager
async def _postgres(database: Database) -> AsyncGenerator[Write]:
    url = database.url
    connection = await asyncpg.connect(host=url.host, port=url.port, user=url.username, database=url.database)

    async def write(rows: Sequence[RawRow]) -> None:
        async with connection.transaction():
            await connection.executemany(f"{_INSERT}$1, $2, $3, $4)", rows)

    try:
        yield write
    finally:
        await connection.close()
