"""Empty, migrated databases for tests: SQLite in a file, and a fresh one on the running PostgreSQL."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from pathlib import Path
from uuid import uuid4

from service.storage.database import Database
from service.storage.schema import migrate
from tests.support.postgres import PostgresServer

BOTH = ("sqlite", "postgresql")


def sqlite_url(folder: Path) -> str:
    """The address of a database file in ``folder``."""
    return f"sqlite+aiosqlite:///{folder / 'houseband.db'}"


@asynccontextmanager
async def sqlite_database(folder: Path) -> AsyncGenerator[Database]:
    """A migrated database in a file."""
    async with _migrated(sqlite_url(folder)) as database:
        yield database


@asynccontextmanager
async def postgres_database(server: PostgresServer) -> AsyncGenerator[Database]:
    """A migrated database of its own on a running server."""
    name = f"t{uuid4().hex}"
    async with _migrated(server.create_database(name)) as database:
        yield database
    server.drop_database(name)


@asynccontextmanager
async def _migrated(url: str) -> AsyncGenerator[Database]:
    database = Database(url)
    try:
        await migrate(database)
        yield database
    finally:
        await database.close()
