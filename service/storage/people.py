"""People, and whom to call in what order."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.errors import NotFound
from service.storage.insert import insert_into
from service.storage.rota import rota
from service.storage.rows import Record, many, one
from service.storage.tables import call_list, people


async def all_people(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """Everyone, by name."""
    return await many(connection, select(people).where(people.c.farm_id == farm_id).order_by(people.c.name))


async def person(connection: AsyncConnection, farm_id: int, person_id: str) -> Record:
    """One person.

    Raises:
        NotFound: there is nobody of this id.
    """
    row = await find_person(connection, farm_id, person_id)
    if row is None:
        raise NotFound(f"there is nobody with the id {person_id!r}")
    return row


async def find_person(connection: AsyncConnection, farm_id: int, person_id: str) -> Record | None:
    """One person, if there is one of this id."""
    mine = (people.c.farm_id == farm_id) & (people.c.person_id == person_id)
    return await one(connection, select(people).where(mine))


async def save_person(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Add a person, or change what is known of them."""
    statement = insert_into(connection, people).values({**values, "farm_id": farm_id})
    changed = {name: value for name, value in values.items() if name != "person_id"}
    await connection.execute(
        statement.on_conflict_do_update(index_elements=["farm_id", "person_id"], set_=changed)
    )


async def set_call_list(
    connection: AsyncConnection,
    farm_id: int,
    daypart: str,
    rows: Sequence[tuple[str, int]],
    *,
    who: str,
    recorded_ms: Instant,
) -> None:
    """Whom to tell by day or by night: (person, milliseconds after the first), in order.

    Raises:
        NotFound: one of them does not exist.
    """
    named = [{"person_id": person_id, "rota_id": None, "after_ms": after_ms} for person_id, after_ms in rows]
    await set_lines(connection, farm_id, daypart, named, who=who, recorded_ms=recorded_ms)


async def set_lines(
    connection: AsyncConnection,
    farm_id: int,
    daypart: str,
    rows: Sequence[Record],
    *,
    who: str,
    recorded_ms: Instant,
) -> None:
    """Write a call list: lines in order, each with ``person_id`` or ``rota_id``, and ``after_ms``.

    Raises:
        NotFound: a person or rota does not exist.
    """
    for row in rows:
        if row["rota_id"] is None:
            await person(connection, farm_id, row["person_id"])
        else:
            await rota(connection, farm_id, row["rota_id"])
    mine = (call_list.c.farm_id == farm_id) & (call_list.c.daypart == daypart)
    await connection.execute(call_list.delete().where(mine))
    noted = {"farm_id": farm_id, "daypart": daypart, "who": who, "recorded_ms": recorded_ms}
    if rows:
        await connection.execute(
            call_list.insert(), [{**noted, **row, "position": n} for n, row in enumerate(rows)]
        )


async def lines(connection: AsyncConnection, farm_id: int, daypart: str) -> list[Record]:
    """The call list of a part of the day as it was written, each line with a person's id or a rota's."""
    c = call_list.c
    statement = select(call_list).where(c.farm_id == farm_id, c.daypart == daypart).order_by(c.position)
    return await many(connection, statement)
