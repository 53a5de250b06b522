"""One service to a farm and database: a second one is refused in plain words, and a dead one never blocks.

The lock lives with the process: on SQLite a lock on a file beside the database, on PostgreSQL an advisory lock of
a connection of its own. Both are gone the moment the process is, however it ended.
"""

from __future__ import annotations

import fcntl
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from pathlib import Path

from sqlalchemy import text

from service.errors import SetupError
from service.storage.database import Database

REFUSED = "another Houseband already serves this farm from this database; stop it first"
_LOCK_SPACE = 0x486F75  # "Hou": keeps our advisory locks apart from anybody else's


@asynccontextmanager
async def only_one(database: Database, farm_id: int) -> AsyncGenerator[None]:
    """Be the only service for this farm while the block runs.

    Raises:
        SetupError: another one is running.
    """
    held = _file_lock(database) if database.is_sqlite else _advisory_lock(database, farm_id)
    async with held:
        yield


@asynccontextmanager
async def _file_lock(database: Database) -> AsyncGenerator[None]:
    name = database.url.database
    if not name or name == ":memory:":
        yield
        return
    with Path(f"{name}.lock").open("w") as file:  # noqa: ASYNC230 - once, at start
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise SetupError(REFUSED) from error
        yield


@asynccontextmanager
async def _advisory_lock(database: Database, farm_id: int) -> AsyncGenerator[None]:
    async with database.engine.connect() as connection:
        # The lock belongs to the session, so no transaction may be left open for days.
        outside = await connection.execution_options(isolation_level="AUTOCOMMIT")
        key = {"space": _LOCK_SPACE, "farm": farm_id}
        if not await outside.scalar(text("SELECT pg_try_advisory_lock(:space, :farm)"), key):
            raise SetupError(REFUSED)
        try:
            yield
        finally:
            await connection.invalidate()  # back in the pool, the session would go on holding the lock
