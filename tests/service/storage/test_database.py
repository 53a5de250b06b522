"""Which failures pass by themselves, tried on real databases."""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncGenerator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from service.errors import PassingError
from service.storage.database import Database
from tests.support.databases import sqlite_url
from tests.support.ports import free_port
from tests.support.postgres import PostgresServer, find_binaries


@asynccontextmanager
async def opened(url: str) -> AsyncGenerator[Database]:
    database = Database(url, busy_timeout_ms=20)
    try:
        yield database
    finally:
        await database.close()


async def ask(database: Database, statement: str = "SELECT 1") -> None:
    async with database.write() as connection:
        await connection.execute(text(statement))


async def ask_and_ask_again(database: Database, between: Callable[[], None]) -> None:
    async with database.write() as connection:
        await connection.execute(text("SELECT 1"))
        between()
        await connection.execute(text("SELECT 1"))


async def test_a_locked_database_passes(tmp_path: Path) -> None:
    async with opened(sqlite_url(tmp_path)) as database:
        await ask(database, "CREATE TABLE eggs (n INTEGER)")
        other = sqlite3.connect(tmp_path / "houseband.db", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(PassingError):
            await ask(database)
        other.close()
        await ask(database)


async def test_a_full_database_passes(tmp_path: Path) -> None:
    async with opened(sqlite_url(tmp_path)) as database:
        await ask(database, "CREATE TABLE eggs (n BLOB)")
        await ask(database, "PRAGMA max_page_count = 3")
        with pytest.raises(PassingError):
            await ask(database, "INSERT INTO eggs VALUES (zeroblob(100000))")
        await ask(database)


@pytest.mark.parametrize(
    "statement",
    ["SELECT eggs", "SELEC 1", f"SELECT {'+'.join(['1'] * 2000)}", "INSERT INTO kept VALUES (1)"],
    ids=["no such thing", "not a statement", "too deep", "there already"],
)
async def test_a_statement_that_will_never_work_does_not_pass(tmp_path: Path, statement: str) -> None:
    async with opened(sqlite_url(tmp_path)) as database:
        await ask(database, "CREATE TABLE kept (n INTEGER PRIMARY KEY)")
        await ask(database, "INSERT INTO kept VALUES (1)")
        with pytest.raises(DBAPIError):
            await ask(database, statement)


async def test_a_server_that_is_not_there_passes() -> None:
    async with opened(f"postgresql+asyncpg://nobody@127.0.0.1:{free_port()}/nothing") as database:
        with pytest.raises(PassingError):
            await ask(database)


async def test_a_server_that_goes_away_passes_and_is_found_again() -> None:
    if not find_binaries():
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    server = PostgresServer()
    server.start()
    try:
        async with opened(server.create_database("coming_and_going")) as database:
            await ask(database)
            server.stop()
            with pytest.raises(PassingError):
                await ask(database)
            server.start()
            await ask(database)
            with pytest.raises(PassingError):
                await ask_and_ask_again(database, server.kill)
    finally:
        server.remove()
