"""Stated compromises in both databases: added, never changed, and read as they were given."""

from __future__ import annotations

from typing import Any

from service.storage.compromises import add_compromise, compromises_of
from service.storage.database import Database

FACTS = {"parts": [{"label": "Shiitake", "shortfall": 3.0, "side": "high", "low": None}]}
ROW: dict[str, Any] = {
    "room_id": "house-7", "quantity": "temperature", "recorded_ms": 50, "from_ms": 20, "low": 17.0, "high": 19.0,
    "facts": FACTS, "who": "Ines",
}  # fmt: skip


async def test_what_was_stated_is_read_as_it_was_given(database: Database) -> None:
    async with database.write() as connection:
        await add_compromise(connection, 1, ROW)
        await add_compromise(connection, 1, {**ROW, "room_id": "house-3"})
        await add_compromise(connection, 2, ROW)

    async with database.read() as connection:
        assert await compromises_of(connection, 1, "house-7") == [{**ROW, "farm_id": 1}]
        assert await compromises_of(connection, 1, "cooler") == []


async def test_an_edge_may_be_absent(database: Database) -> None:
    async with database.write() as connection:
        await add_compromise(connection, 1, {**ROW, "low": None})

    async with database.read() as connection:
        (row,) = await compromises_of(connection, 1, "house-7")
    assert (row["low"], row["high"]) == (None, 19.0)


async def test_two_of_one_millisecond_are_both_kept_in_order(database: Database) -> None:
    async with database.write() as connection:
        first = await add_compromise(connection, 1, ROW)
        second = await add_compromise(connection, 1, {**ROW, "from_ms": 10, "who": "Ben"})
        third = await add_compromise(connection, 1, {**ROW, "quantity": "humidity"})

    assert [kept["recorded_ms"] for kept in (first, second, third)] == [50, 51, 50]
    async with database.read() as connection:
        rows = await compromises_of(connection, 1, "house-7")
    assert [(row["from_ms"], row["quantity"], row["who"]) for row in rows] == [
        (10, "temperature", "Ben"),
        (20, "humidity", "Ines"),
        (20, "temperature", "Ines"),
    ]
