"""Opening the database, and the two ways to use it: read, and write.

SQLite: one writer whose transactions all begin IMMEDIATE (a transaction that reads first and writes later would
otherwise fail beside another writer), separate readers, WAL, synchronous FULL: a commit is on the disk.
PostgreSQL: ordinary transactions; whoever judges a room locks its row.

A database that is locked, full or away raises :class:`~service.errors.PassingError`; anything else comes through.
"""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncGenerator, Generator
from contextlib import asynccontextmanager, contextmanager
from typing import Any, Final, TypeAlias

from sqlalchemy import event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoConnectionFree
from sqlalchemy.ext.asyncio import AsyncConnection, AsyncEngine, create_async_engine

from service.errors import PassingError

Connection: TypeAlias = AsyncConnection
"""What the functions of ``service.storage`` take; the rest of the house need not know the library."""

BUSY_TIMEOUT_MS = 5000
PASSING_SQLSTATES: Final = ("08", "40", "53", "55P03", "57")
"""Connection lost, rolled back for another, out of resources, lock not to be had, operator intervened."""
PASSING_SQLITE: Final = frozenset(
    {
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
        sqlite3.SQLITE_NOMEM,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_PROTOCOL,
    }
)
"""What a person can mend, or what mends itself, while the statement may stay as it is."""
_PRIMARY_CODE: Final = 0xFF
"""SQLite's extended result codes carry the primary one in their last eight bits."""


class Database:
    """A pair of engines on one database. ``close`` it, or the driver complains at exit."""

    def __init__(self, url: str, *, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> None:
        """Prepare; nothing is opened before the first use.

        Args:
            url: as the database library writes it.
            busy_timeout_ms: how long SQLite waits for another process that writes.
        """
        self.url = make_url(url)
        self.is_sqlite = self.url.get_backend_name() == "sqlite"
        if self.is_sqlite:
            self._writer = _sqlite_engine(url, busy_timeout_ms, begin="BEGIN IMMEDIATE", size=1)
            self._reader = _sqlite_engine(url, busy_timeout_ms, begin="BEGIN", size=4)
        else:
            self._writer = self._reader = create_async_engine(url, pool_size=8, pool_pre_ping=True)

    @property
    def engine(self) -> AsyncEngine:
        """The engine that writes; for migrations and tests."""
        return self._writer

    @asynccontextmanager
    async def write(self) -> AsyncGenerator[AsyncConnection]:
        """One transaction that may write; committed at the end, rolled back by an exception."""
        with _passing():
            async with self._writer.begin() as connection:
                yield connection

    @asynccontextmanager
    async def read(self) -> AsyncGenerator[AsyncConnection]:
        """One consistent look at the database."""
        with _passing():
            async with self._reader.begin() as connection:
                yield connection

    async def close(self) -> None:
        """Give all connections back."""
        await self._reader.dispose()
        await self._writer.dispose()


def _sqlite_engine(url: str, busy_timeout_ms: int, *, begin: str, size: int) -> AsyncEngine:
    engine = create_async_engine(url, pool_size=size, max_overflow=0, pool_timeout=60)

    @event.listens_for(engine.sync_engine, "connect")
    def _set_up(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver must not begin transactions of its own
        cursor = connection.cursor()
        for pragma in (
            f"busy_timeout={busy_timeout_ms}",
            "journal_mode=WAL",
            "synchronous=FULL",
            "foreign_keys=ON",
        ):
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine.sync_engine, "begin")
    def _begin(connection: Any) -> None:
        connection.exec_driver_sql(begin)

    return engine


@contextmanager
def _passing() -> Generator[None]:
    """Translate the failures that pass by themselves; the cause is kept."""
    try:
        yield
    except Exception as error:
        if is_passing(error):
            raise PassingError(f"database not available just now: {error.__class__.__name__}") from error
        raise


def is_of_the_database(error: BaseException) -> bool:
    """True for a failure after which a transaction may be lost."""
    return isinstance(error, SQLAlchemyError | PassingError | OSError)


def is_passing(error: BaseException) -> bool:
    """True for a failure that may be gone at the next try: locked, full, connection lost."""
    if isinstance(error, OSError | NoConnectionFree):
        return True
    if isinstance(error, DBAPIError) and error.connection_invalidated:
        return True
    # A refused connection comes as the driver raised it, anything later as the library wrapped it.
    cause = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(cause, sqlite3.Error):
        return getattr(cause, "sqlite_errorcode", 0) & _PRIMARY_CODE in PASSING_SQLITE
    return str(getattr(cause, "sqlstate", None) or "").startswith(PASSING_SQLSTATES)
