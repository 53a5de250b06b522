"""Taking turns: whoever looks first and writes afterwards must not be overtaken in between."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.ext.asyncio import AsyncConnection

from service.storage.tables import farms


async def take_turn(connection: AsyncConnection, farm_id: int) -> None:
    """Hold the farm until this transaction ends: what is set up changes one request after the other.

    (SQLite has one writer anyway; there this only reads.)
    """
    await connection.execute(select(farms.c.farm_id).where(farms.c.farm_id == farm_id).with_for_update())
