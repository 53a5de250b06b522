"""The machine room: what the service remembers of itself."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.storage.insert import insert_into
from service.storage.rows import Record, many
from service.storage.tables import identities, pulses


async def identity(connection: AsyncConnection, farm_id: int, name: str, fresh: str) -> str:
    """The value kept under ``name``; ``fresh`` is kept if there is none yet."""
    row = {"farm_id": farm_id, "name": name, "value": fresh}
    await connection.execute(insert_into(connection, identities).values(row).on_conflict_do_nothing())
    mine = (identities.c.farm_id == farm_id) & (identities.c.name == name)
    return (await connection.scalar(select(identities.c.value).where(mine))) or fresh


async def remembered(connection: AsyncConnection, farm_id: int, name: str) -> str | None:
    """The value kept under ``name``, if there is one."""
    mine = (identities.c.farm_id == farm_id) & (identities.c.name == name)
    return await connection.scalar(select(identities.c.value).where(mine))


async def remember(connection: AsyncConnection, farm_id: int, name: str, value: str) -> None:
    """Keep a value under ``name`` from now on."""
    statement = insert_into(connection, identities).values(farm_id=farm_id, name=name, value=value)
    await connection.execute(
        statement.on_conflict_do_update(index_elements=["farm_id", "name"], set_={"value": value})
    )


async def beat(connection: AsyncConnection, farm_id: int, part: str, at_ms: Instant, detail: str) -> None:
    """A part of the service says that it is alive."""
    row = {"farm_id": farm_id, "part": part, "at_ms": at_ms, "detail": detail}
    statement = insert_into(connection, pulses).values(row)
    changed = {"at_ms": at_ms, "detail": detail}
    await connection.execute(statement.on_conflict_do_update(index_elements=["farm_id", "part"], set_=changed))


async def all_pulses(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """When each part was last alive."""
    return await many(connection, select(pulses).where(pulses.c.farm_id == farm_id).order_by(pulses.c.part))
