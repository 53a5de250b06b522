"""Bringing a database to the schema this version needs, and saying where it stands."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, text
from sqlalchemy.ext.asyncio import AsyncConnection

import migrations
from rules.model import Instant
from service.storage.database import Database
from service.storage.statistics import tell_what_is_alike
from service.storage.tables import metadata

MONTHS_AHEAD: Final = 3
_PARTITION: Final = re.compile(r"readings_(y\d{4}m\d{2}|rest)$")


def is_declared(_thing: object, name: str | None, kind: str, *_: object) -> bool:
    """False for what the database holds beside the declared tables: the monthly parts of the readings."""
    return not (kind == "table" and name is not None and _PARTITION.match(name))


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


async def migrate(database: Database, *, to: str = "head") -> None:
    """Run every migration that the database has not had."""
    async with database.write() as connection:
        await connection.run_sync(lambda c: command.upgrade(_config(c), to))
        await tell_what_is_alike(connection)


async def unmigrate(database: Database, *, to: str = "base") -> None:
    """Take migrations back; for tests and for a mistaken upgrade."""
    async with database.write() as connection:
        await connection.run_sync(lambda c: command.downgrade(_config(c), to))


async def revisions(database: Database) -> tuple[str | None, str | None]:
    """The revision the database is at, and the one this version needs."""
    async with database.read() as connection:
        present = await connection.run_sync(lambda c: MigrationContext.configure(c).get_current_revision())
    return present, ScriptDirectory.from_config(_config()).get_current_head()


async def differences(database: Database) -> list[Any]:
    """How the database differs from the declared tables; empty when it does not."""

    def compare(connection: Connection) -> list[Any]:
        options = {"compare_type": True, "include_object": is_declared}
        return list(compare_metadata(MigrationContext.configure(connection, opts=options), metadata))

    async with database.read() as connection:
        return await connection.run_sync(compare)


async def make_room_for_readings(connection: AsyncConnection, now_ms: Instant) -> None:
    """On PostgreSQL, make the monthly parts of the readings for this month and the next ones.

    Readings of a month that has no part of its own land in the default part and are found there as well.
    """
    if connection.dialect.name != "postgresql":
        return
    first = datetime.fromtimestamp(now_ms / 1000, UTC).replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    for _ in range(MONTHS_AHEAD):
        after = (first + timedelta(days=31)).replace(day=1)
        await _make_part(connection, first, after)
        first = after


async def _make_part(connection: AsyncConnection, first: datetime, after: datetime) -> None:
    bounds = (int(first.timestamp() * 1000), int(after.timestamp() * 1000))
    name = f"readings_y{first:%Y}m{first:%m}"
    exists = await connection.scalar(text("SELECT to_regclass(:name) IS NOT NULL"), {"name": name})
    taken = await connection.scalar(
        text("SELECT EXISTS (SELECT 1 FROM readings_rest WHERE at_ms >= :a AND at_ms < :b)"),
        {"a": bounds[0], "b": bounds[1]},
    )
    if not exists and not taken:
        await connection.execute(
            text(f"CREATE TABLE {name} PARTITION OF readings FOR VALUES FROM ({bounds[0]}) TO ({bounds[1]})")
        )


async def durability_doubts(database: Database) -> list[str]:
    """What in the database's own settings would lose a commit in a power cut."""
    if database.is_sqlite:
        return []  # set by us on every connection
    wanted = {"fsync": ("on",), "full_page_writes": ("on",), "synchronous_commit": ("on", "remote_apply")}
    async with database.read() as connection:
        set_to = {name: await connection.scalar(text(f"SHOW {name}")) for name in wanted}
    return [
        f"{name} is {set_to[name]}: a power cut loses what was said to be kept"
        for name, values in wanted.items()
        if set_to[name] not in values
    ]
