"""What people stated for rooms whose crops have nothing in common. Rows are added, never changed."""

from __future__ import annotations

import json

from sqlalchemy import func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from service.storage.rows import Record, many
from service.storage.tables import compromises


async def add_compromise(connection: AsyncConnection, farm_id: int, values: Record) -> Record:
    """Keep a compromise for a room and quantity; return it as kept.

    Two of one room, quantity and millisecond are both kept: the second is recorded a moment later.
    """
    c = compromises.c
    mine = (c.farm_id == farm_id) & (c.room_id == values["room_id"]) & (c.quantity == values["quantity"])
    newest = await connection.scalar(select(func.max(c.recorded_ms)).where(mine))
    recorded_ms = values["recorded_ms"] if newest is None else max(values["recorded_ms"], newest + 1)
    kept = {**values, "recorded_ms": recorded_ms}
    row = {**kept, "farm_id": farm_id, "facts": json.dumps(values["facts"], sort_keys=True)}
    await connection.execute(compromises.insert().values(row))
    return kept


async def compromises_of(connection: AsyncConnection, farm_id: int, room_id: str) -> list[Record]:
    """Everything stated for a room, the oldest first; ``facts`` as they were given."""
    c = compromises.c
    statement = (
        select(compromises)
        .where(c.farm_id == farm_id, c.room_id == room_id)
        .order_by(c.from_ms, c.recorded_ms, c.quantity)
    )
    return [{**row, "facts": json.loads(row["facts"])} for row in await many(connection, statement)]
