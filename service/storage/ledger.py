"""Alarms, happenings, and the append-only ledger of what was told."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Final

from sqlalchemy import func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant, Quantity, Side
from service.errors import NotFound
from service.storage.insert import insert_into
from service.storage.rows import Record, many, one
from service.storage.tables import alarms, answers, happenings, notices, transitions

PEOPLE_MARK: Final = "/people"
"""Ends the name of a happening that is about limits for people: it is one of its own, beside the crops'."""


async def alarms_of(
    connection: AsyncConnection, farm_id: int, room_id: str
) -> dict[tuple[Quantity, Side], Record]:
    """The alarms of a room that are not simply normal, by (quantity, side)."""
    statement = select(alarms).where(alarms.c.farm_id == farm_id, alarms.c.room_id == room_id)
    rows = await many(connection, statement)
    return {(Quantity(r["quantity"]), Side(r["side"])): r for r in rows}


async def set_alarm(connection: AsyncConnection, farm_id: int, values: Record, *, normal: bool) -> None:
    """Write where an alarm stands now. A normal alarm is one that is not in the table."""
    key = (
        (alarms.c.farm_id == farm_id)
        & (alarms.c.room_id == values["room_id"])
        & (alarms.c.quantity == values["quantity"])
        & (alarms.c.side == values["side"])
    )
    await connection.execute(alarms.delete().where(key))
    if not normal:
        await connection.execute(alarms.insert().values({**values, "farm_id": farm_id}))


async def open_happening(connection: AsyncConnection, farm_id: int, room_id: str) -> Record | None:
    """The happening of the room's crop limits that has not ended."""
    h = happenings.c
    mine = (h.farm_id == farm_id) & (h.room_id == room_id) & h.ended_ms.is_(None)
    return await one(connection, select(happenings).where(mine, ~h.happening_id.endswith(PEOPLE_MARK)))


async def open_people_happening(connection: AsyncConnection, farm_id: int, room_id: str) -> Record | None:
    """The happening of the room's limits for people that has not ended."""
    h = happenings.c
    mine = (h.farm_id == farm_id) & (h.room_id == room_id) & h.ended_ms.is_(None)
    return await one(connection, select(happenings).where(mine, h.happening_id.endswith(PEOPLE_MARK)))


async def happening(connection: AsyncConnection, farm_id: int, happening_id: str) -> Record:
    """One happening.

    Raises:
        NotFound: there is none.
    """
    h = happenings.c
    statement = select(happenings).where(h.farm_id == farm_id, h.happening_id == happening_id)
    row = await one(connection, statement)
    if row is None:
        raise NotFound(f"nothing happened under {happening_id!r}")
    return row


async def parts_of(connection: AsyncConnection, farm_id: int, happening_id: str) -> list[Record]:
    """The rooms' happenings that are told as one with another."""
    h = happenings.c
    statement = select(happenings).where(h.farm_id == farm_id, h.part_of == happening_id)
    return await many(connection, statement.order_by(h.happening_id))


async def unanswered_happenings(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """Happenings that go on, or are over and wait for an answer; newest first."""
    h = happenings.c
    statement = select(happenings).where(h.farm_id == farm_id, h.ended_ms.is_(None) | h.closed_ms.is_(None))
    return await many(connection, statement.order_by(h.began_ms.desc(), h.happening_id))


async def save_happening(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Add a happening, or write its new end."""
    statement = insert_into(connection, happenings).values({**values, "farm_id": farm_id})
    changed = {name: values[name] for name in ("ended_ms", "closed_ms", "woke", "part_of") if name in values}
    await connection.execute(
        statement.on_conflict_do_update(index_elements=["farm_id", "happening_id"], set_=changed)
    )


async def unclosed_happenings(connection: AsyncConnection, farm_id: int, before_ms: Instant) -> list[Record]:
    """Happenings that ended before a moment and were not closed by an answer or a sheet."""
    h = happenings.c
    statement = select(happenings).where(
        h.farm_id == farm_id, h.ended_ms.is_not(None), h.ended_ms < before_ms, h.closed_ms.is_(None)
    )
    return await many(connection, statement)


async def close_happening(connection: AsyncConnection, farm_id: int, happening_id: str, at_ms: Instant) -> None:
    """Nothing more is expected of anyone."""
    mine = (happenings.c.farm_id == farm_id) & (happenings.c.happening_id == happening_id)
    await connection.execute(update(happenings).where(mine).values(closed_ms=at_ms))


async def close_if_over(connection: AsyncConnection, farm_id: int, happening_id: str, at_ms: Instant) -> None:
    """An answer closes a happening that has ended already; one that has not goes on."""
    h = happenings.c
    over = h.ended_ms.is_not(None) & h.closed_ms.is_(None)
    mine = (h.farm_id == farm_id) & (h.happening_id == happening_id)
    await connection.execute(update(happenings).where(mine, over).values(closed_ms=at_ms))


async def add_transitions(connection: AsyncConnection, farm_id: int, rows: Sequence[Record]) -> None:
    """Append to the told ledger; a move that is there already (told before a crash) stays as it was."""
    if rows:
        statement = insert_into(connection, transitions).on_conflict_do_nothing()
        await connection.execute(statement, [{**row, "farm_id": farm_id} for row in rows])


async def last_moves(
    connection: AsyncConnection, farm_id: int, room_id: str, *, who: str, after_ms: Instant
) -> dict[tuple[Quantity, Side], Instant]:
    """As of when each alarm of a room was last moved by ``who``, of those moved as of later than a moment."""
    t = transitions.c
    mine = (t.farm_id == farm_id) & (t.room_id == room_id) & (t.who == who) & (t.at_ms > after_ms)
    statement = select(t.quantity, t.side, func.max(t.at_ms)).where(mine).group_by(t.quantity, t.side)
    return {(Quantity(row[0]), Side(row[1])): row[2] for row in await connection.execute(statement)}


async def far_limits_told(
    connection: AsyncConnection, farm_id: int, happening_id: str
) -> dict[tuple[Quantity, Side], Instant]:
    """When the far limit of each alarm woke somebody last in a happening."""
    n = notices.c
    mine = (n.farm_id == farm_id) & (n.happening_id == happening_id) & (n.telling == "wake")
    found: dict[tuple[Quantity, Side], Instant] = {}
    for row in await many(connection, select(n.at_ms, n.facts).where(mine).order_by(n.at_ms)):
        facts = json.loads(row["facts"])
        if facts.get("deep"):
            found[Quantity(facts["quantity"]), Side(facts["side"])] = row["at_ms"]
    return found


async def add_notices(connection: AsyncConnection, farm_id: int, rows: Sequence[Record]) -> None:
    """Append notices; their keys make a second time harmless."""
    if rows:
        statement = insert_into(connection, notices).on_conflict_do_nothing()
        values = [{**r, "facts": json.dumps(r["facts"]), "addressed": 0, "farm_id": farm_id} for r in rows]
        await connection.execute(statement, values)


async def add_answer(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Append what a person answered."""
    row = {**values, "farm_id": farm_id}
    await connection.execute(insert_into(connection, answers).values(row).on_conflict_do_nothing())
