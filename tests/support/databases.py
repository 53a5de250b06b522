"""Empty, migrated databases for tests: SQLite in a file, and a fresh one on the running PostgreSQL.

Migrating takes longer than most tests; it is done once to a run, and the result copied.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import uuid4

from service.storage.database import Database
from service.storage.schema import migrate
from tests.support.postgres import PostgresServer

BOTH = ("sqlite", "postgresql")
_FILE: list[bytes] = []
_TEMPLATES: set[str] = set()


def sqlite_url(folder: Path) -> str:
    """The address of a database file in ``folder``."""
    return f"sqlite+aiosqlite:///{folder / 'houseband.db'}"


@asynccontextmanager
async def sqlite_database(folder: Path) -> AsyncGenerator[Database]:
    """A migrated database in a file."""
    (folder / "houseband.db").write_bytes(await _migrated_file())
    async with _opened(sqlite_url(folder)) as database:
        yield database


@asynccontextmanager
async def postgres_database(server: PostgresServer) -> AsyncGenerator[Database]:
    """A migrated database of its own on a running server."""
    name = f"t{uuid4().hex}"
    async with _opened(server.create_database(name, like=await _template(server))) as database:
        yield database
    server.drop_database(name)


async def _migrated_file() -> bytes:
    if not _FILE:
        with TemporaryDirectory() as folder:
            async with _opened(sqlite_url(Path(folder))) as database:
                await migrate(database)
            _FILE.append((Path(folder) / "houseband.db").read_bytes())
    return _FILE[0]


async def _template(server: PostgresServer) -> str:
    name = f"template_{server.port}"
    if name not in _TEMPLATES:
        async with _opened(server.create_database(name)) as database:
            await migrate(database)
        _TEMPLATES.add(name)
    return name


@asynccontextmanager
async def _opened(url: str) -> AsyncGenerator[Database]:
    database = Database(url)
    try:
        yield database
    finally:
        await database.close()
