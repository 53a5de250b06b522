"""Looking at readings goes along the key: what it costs does not grow with what is stored."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import event

from rules.model import MINUTE_MS, ProbeId, Quantity
from service.storage.database import Database
from service.storage.nights import heard_in
from service.storage.readings import series_ids, span, stored_values
from service.storage.spans import newest_values, page, pieces_of_room
from tests.support import farmyard
from tests.support.databases import sqlite_database

MINUTES = 5
HUMIDITY = Quantity.HUMIDITY


async def filled(database: Database) -> int:
    """A farm with a few minutes of two probes."""
    farm_id = int((await farmyard.settle(database))["farm_id"])
    for probe in ("h7-door", "h7-back"):
        points = [(farmyard.NOW_MS - n * MINUTE_MS, 90.0 + n) for n in range(MINUTES)]
        await farmyard.send(database, farm_id, probe, HUMIDITY, points)
    return farm_id


async def test_the_newest_value_of_each_series_is_found(database: Database) -> None:
    farm_id = await filled(database)
    async with database.read() as connection:
        found = await newest_values(connection, farm_id)
        none = await newest_values(connection, farm_id, [])
    assert [(k.probe, k.at_ms, k.value) for k in found] == [
        ("h7-back", farmyard.NOW_MS, 90.0),
        ("h7-door", farmyard.NOW_MS, 90.0),
    ]
    assert none == []


async def test_a_page_begins_right_behind_the_last_row_of_the_one_before(database: Database) -> None:
    farm_id = await filled(database)
    async with database.read() as connection:
        pieces = await pieces_of_room(connection, farm_id, "house-7", from_ms=0, to_ms=farmyard.NOW_MS + 1)
        whole = await page(connection, farm_id, pieces, after=None, limit=100)
        for cut in range(len(whole)):
            last = whole[cut]
            rest = await page(
                connection, farm_id, pieces, after=(last.at_ms, last.probe, last.quantity), limit=100
            )
            assert rest == whole[cut + 1 :]
    assert len(whole) == 2 * MINUTES


async def test_readings_are_only_ever_found_by_their_series_on_sqlite(tmp_path: Path) -> None:
    """PostgreSQL chooses by what it knows of a table, and reads one as small as this whole."""
    async with sqlite_database(tmp_path) as database:
        touching = [plan for plan in await plans_of_looking(database) if "readings" in plan]
    assert len(touching) >= 6
    assert [plan for plan in touching if "series_id=?" not in plan] == []


async def plans_of_looking(database: Database) -> list[str]:
    """How SQLite goes about each statement that looks at readings."""
    farm_id = await filled(database)
    asked: list[tuple[str, Any]] = []
    reader = database._reader.sync_engine

    @event.listens_for(reader, "before_cursor_execute")
    def _note(_connection: Any, _cursor: Any, statement: str, parameters: Any, *_rest: Any) -> None:
        if "readings" in statement and not statement.startswith("EXPLAIN"):
            asked.append((statement, parameters))

    async with database.read() as connection:
        await newest_values(connection, farm_id)
        pieces = await pieces_of_room(connection, farm_id, "house-7", from_ms=0, to_ms=farmyard.NOW_MS + 1)
        await page(connection, farm_id, pieces, after=None, limit=3)
        ids = await series_ids(connection, farm_id, [(ProbeId("h7-door"), HUMIDITY)])
        await stored_values(connection, farm_id, [(number, farmyard.NOW_MS) for number in ids.values()])
        from_ms, to_ms = farmyard.NOW_MS - MINUTE_MS, farmyard.NOW_MS
        await span(connection, farm_id, ["h7-door"], from_ms=from_ms, to_ms=to_ms)
        await heard_in(connection, farm_id, ["h7-door"], [HUMIDITY], from_ms=from_ms, to_ms=to_ms)
        return [
            row["detail"]
            for statement, parameters in list(asked)
            for row in (await connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)).mappings()
        ]
