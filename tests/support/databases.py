"""Empty, migrated databases for tests: SQLite in a file, and a fresh one on the running PostgreSQL.

Migrating takes longer than most tests: it is done once to a run, and the result copied. Copying takes PostgreSQL
longer than most tests too: what a test leaves in good shape is emptied for the next.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import uuid4

import asyncpg

from service.storage.database import Database
from service.storage.schema import migrate
from service.storage.tables import metadata
from tests.support.postgres import PostgresServer

BOTH = ("sqlite", "postgresql")
FILE = "houseband.db"
_FILE: list[bytes] = []
_TEMPLATES: set[str] = set()
_FREE: dict[int, list[str]] = {}
_SHAPES: dict[str, int | None] = {}


def sqlite_url(folder: Path) -> str:
    """The address of a database file in ``folder``."""
    return f"sqlite+aiosqlite:///{folder / FILE}"


@asynccontextmanager
async def sqlite_database(folder: Path) -> AsyncGenerator[Database]:
    """A migrated database in a file."""
    (folder / FILE).write_bytes(await _migrated_file())
    async with _opened(sqlite_url(folder)) as database:
        yield database


@asynccontextmanager
async def postgres_database(server: PostgresServer) -> AsyncGenerator[Database]:
    """A migrated, empty database on a running server that nobody else uses meanwhile."""
    free = _FREE.setdefault(server.port, [])
    name = free.pop() if free else f"t{uuid4().hex}"
    url = server.database_url(name)
    if name not in _SHAPES:
        server.create_database(name, like=await _template(server))
        _SHAPES[name] = await _shape(url)
    async with _opened(url) as database:
        yield database
    if await _shape(url) == _SHAPES[name]:
        await _empty(url)
        free.append(name)
    else:
        server.drop_database(name)


async def _shape(url: str) -> int | None:
    """A number that changes when a table is made anew or an old one is gone."""
    async with _asked(url) as connection:
        sums: int | None = await connection.fetchval(
            "SELECT sum(oid::bigint) FROM pg_class WHERE relnamespace = 'public'::regnamespace"
        )
    return sums


async def _empty(url: str) -> None:
    async with _asked(url) as connection:
        await connection.execute("; ".join(f'DELETE FROM "{name}"' for name in metadata.tables))


@asynccontextmanager
async def _asked(url: str) -> AsyncGenerator[asyncpg.Connection]:
    connection = await asyncpg.connect(url.replace("+asyncpg", ""))
    try:
        yield connection
    finally:
        await connection.close()


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
