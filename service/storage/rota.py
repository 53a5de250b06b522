"""Rotas, their turns, who swapped, and who is away. Times of turns are the farm's wall; the rest are moments."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Table, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.errors import NotAllowed, NotFound
from service.storage.insert import insert_into
from service.storage.rows import Record, many, one
from service.storage.tables import absences, call_list, rotas, swaps, turns


async def all_rotas(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """Every rota, by name."""
    return await many(connection, select(rotas).where(rotas.c.farm_id == farm_id).order_by(rotas.c.name))


async def rota(connection: AsyncConnection, farm_id: int, rota_id: str) -> Record:
    """One rota.

    Raises:
        NotFound: there is none of this id.
    """
    row = await one(connection, select(rotas).where(rotas.c.farm_id == farm_id, rotas.c.rota_id == rota_id))
    if row is None:
        raise NotFound(f"there is no rota {rota_id!r}")
    return row


async def save_rota(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Add a rota, or give it another name."""
    await _save(connection, rotas, farm_id, values, ("rota_id",))


async def drop_rota(connection: AsyncConnection, farm_id: int, rota_id: str) -> None:
    """Remove a rota with its turns; what was swapped in it stays written down.

    Raises:
        NotFound: there is none of this id.
        NotAllowed: a call list still names it.
    """
    await rota(connection, farm_id, rota_id)
    c = call_list.c
    named = await one(connection, select(c.daypart).where(c.farm_id == farm_id, c.rota_id == rota_id))
    if named is not None:
        raise NotAllowed(f"the call list of the {named['daypart']} names this rota: take it off first")
    for table in (turns, rotas):
        await connection.execute(table.delete().where(table.c.farm_id == farm_id, table.c.rota_id == rota_id))


async def turns_of(connection: AsyncConnection, farm_id: int, rota_id: str | None = None) -> list[Record]:
    """The turns of a rota, or of all."""
    t = turns.c
    statement = select(turns).where(t.farm_id == farm_id).order_by(t.rota_id, t.starts_local, t.turn_id)
    return await many(connection, statement if rota_id is None else statement.where(t.rota_id == rota_id))


async def save_turn(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Add a turn, or change it from now on."""
    await _save(connection, turns, farm_id, values, ("rota_id", "turn_id"))


async def drop_turn(connection: AsyncConnection, farm_id: int, rota_id: str, turn_id: str) -> None:
    """Remove a turn.

    Raises:
        NotFound: the rota has no such turn.
    """
    t = turns.c
    mine = (t.farm_id == farm_id) & (t.rota_id == rota_id) & (t.turn_id == turn_id)
    if await one(connection, select(t.turn_id).where(mine)) is None:
        raise NotFound(f"the rota has no turn {turn_id!r}")
    await connection.execute(turns.delete().where(mine))


async def add_swap(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Somebody takes a rota's turn for a time."""
    await connection.execute(swaps.insert().values({**values, "farm_id": farm_id}))


async def swaps_since(connection: AsyncConnection, farm_id: int, since_ms: Instant) -> list[Record]:
    """Swaps that reach past a moment, oldest first."""
    return await _since(connection, swaps, farm_id, since_ms)


async def end_swap(connection: AsyncConnection, farm_id: int, swap_id: str, now_ms: Instant) -> Record:
    """The swap holds no longer.

    Raises:
        NotFound: there is none of this id.
        NotAllowed: it is over already.
    """
    return await _end(connection, swaps, farm_id, ("swap_id", swap_id), now_ms)


async def add_absence(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Somebody is away for a time."""
    await connection.execute(absences.insert().values({**values, "farm_id": farm_id}))


async def absences_since(connection: AsyncConnection, farm_id: int, since_ms: Instant) -> list[Record]:
    """Absences that reach past a moment, oldest first."""
    return await _since(connection, absences, farm_id, since_ms)


async def end_absence(connection: AsyncConnection, farm_id: int, absence_id: str, now_ms: Instant) -> Record:
    """The person is back.

    Raises:
        NotFound: there is none of this id.
        NotAllowed: it is over already.
    """
    return await _end(connection, absences, farm_id, ("absence_id", absence_id), now_ms)


async def _since(connection: AsyncConnection, table: Table, farm_id: int, since_ms: Instant) -> list[Record]:
    c = table.c
    order = (c.from_ms, c.recorded_ms, *table.primary_key.columns)
    return await many(
        connection, select(table).where(c.farm_id == farm_id, c.until_ms > since_ms).order_by(*order)
    )


async def _end(
    connection: AsyncConnection, table: Table, farm_id: int, key: tuple[str, str], now_ms: Instant
) -> Record:
    name, value = key
    mine = (table.c.farm_id == farm_id) & (table.c[name] == value)
    row = await one(connection, select(table).where(mine))
    if row is None:
        raise NotFound(f"there is nothing with the id {value!r}")
    if row["ended_ms"] is not None or row["until_ms"] <= now_ms:
        raise NotAllowed("it is over already")
    await connection.execute(update(table).where(mine).values(ended_ms=now_ms))
    return {**row, "ended_ms": now_ms}


async def _save(
    connection: AsyncConnection, table: Table, farm_id: int, values: Record, key: tuple[str, ...]
) -> None:
    changed: dict[str, Any] = {name: value for name, value in values.items() if name not in key}
    statement = insert_into(connection, table).values({**values, "farm_id": farm_id})
    await connection.execute(statement.on_conflict_do_update(index_elements=["farm_id", *key], set_=changed))
