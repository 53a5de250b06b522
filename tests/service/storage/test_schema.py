"""The migrations and the declared tables say the same, on both databases, up and down."""

from __future__ import annotations

import pytest
from sqlalchemy import text

from service.storage.database import Database
from service.storage.schema import differences, make_room_for_readings, migrate, revisions, unmigrate
from service.storage.tables import metadata

JANUARY_2026_MS = 1_767_268_800_000


async def test_the_migrated_schema_equals_the_declared_tables(database: Database) -> None:
    assert await differences(database) == []


async def test_a_migrated_database_is_at_the_revision_this_version_needs(database: Database) -> None:
    present, needed = await revisions(database)
    assert present == needed


async def test_migrating_twice_changes_nothing(database: Database) -> None:
    await migrate(database)
    assert await differences(database) == []


async def test_migrations_can_be_taken_back_and_run_again(database: Database) -> None:
    await unmigrate(database)
    await migrate(database)
    assert await differences(database) == []


async def test_readings_are_parted_by_month_on_postgresql_and_moved_over_a_new_year(database: Database) -> None:
    december_ms = JANUARY_2026_MS - 40 * 24 * 3600 * 1000
    async with database.write() as connection:
        await make_room_for_readings(connection, december_ms)
        await make_room_for_readings(connection, december_ms)
    async with database.write() as connection:
        row = {"farm_id": 1, "series_id": 1, "value": 1.0, "late_ms": 0}
        moments = [december_ms, JANUARY_2026_MS, JANUARY_2026_MS * 2]
        await connection.execute(metadata.tables["readings"].insert(), [{**row, "at_ms": m} for m in moments])
    if database.is_sqlite:
        return
    async with database.read() as connection:
        rest = await connection.scalar(text("SELECT count(*) FROM readings_rest"))
        everything = await connection.scalar(text("SELECT count(*) FROM readings"))
    assert (rest, everything) == (1, 3)


@pytest.mark.parametrize("table", sorted(metadata.tables))
async def test_every_table_is_strict_and_keyed_by_farm(table: str, tmp_path: object) -> None:
    declared = metadata.tables[table]
    assert declared.dialect_options["sqlite"]["strict"] is True
    assert declared.dialect_options["sqlite"]["with_rowid"] is False
    assert next(iter(declared.primary_key.columns)).name == "farm_id"


async def test_sqlite_keeps_commits_on_the_disk(database: Database) -> None:
    if not database.is_sqlite:
        return
    async with database.write() as connection:
        assert await connection.scalar(text("PRAGMA journal_mode")) == "wal"
        assert await connection.scalar(text("PRAGMA synchronous")) == 2
        assert await connection.scalar(
            text("SELECT count(*) FROM pragma_table_list WHERE name = 'readings' AND strict = 1 AND wr = 1")
        )
