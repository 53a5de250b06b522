"""What stands in the database, read plainly: rows of one table as dictionaries."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select

from service.storage.database import Database
from service.storage.tables import metadata


async def written(database: Database, table: str, **wanted: Any) -> list[dict[str, Any]]:
    """All rows of ``table`` in which the named columns have these values, in the order of the key."""
    found = metadata.tables[table]
    statement = select(found).order_by(*found.primary_key.columns)
    for column, value in wanted.items():
        statement = statement.where(found.c[column] == value)
    async with database.read() as connection:
        return [dict(row) for row in (await connection.execute(statement)).mappings()]


async def tally(database: Database, name: str) -> int:
    """One counter of the machine room; 0 when nothing was ever counted."""
    return sum(row["total"] for row in await written(database, "tallies", name=name))


async def told(database: Database) -> list[tuple[Any, ...]]:
    """The told ledger, without when it was decided: what must be the same however judging went."""
    rows = await written(database, "transitions")
    keys = ("room_id", "quantity", "side", "at_ms", "happens", "from_state", "to_state")
    return sorted(tuple(row[key] for key in keys) for row in rows)


async def notices(database: Database, **wanted: Any) -> list[dict[str, Any]]:
    """Notices in order of time."""
    rows = await written(database, "notices", **wanted)
    return sorted(rows, key=lambda row: (row["at_ms"], row["notice_key"]))
