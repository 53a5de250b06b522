"""Answering links: to whom each was given, for which happening, until when, and what it was used for."""

from __future__ import annotations

from sqlalchemy import select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.storage.insert import insert_into
from service.storage.rows import Record, many, one
from service.storage.tables import links


async def add_link(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Add a link; one that is there already stays as it is, used or not."""
    row = {**values, "farm_id": farm_id, "used_ms": None, "used_for": None}
    await connection.execute(insert_into(connection, links).values(row).on_conflict_do_nothing())


async def link_row(
    connection: AsyncConnection, farm_id: int, link_id: str, *, hold: bool = False
) -> Record | None:
    """One link; with ``hold``, nobody else can use it before this transaction ends."""
    statement = select(links).where(links.c.farm_id == farm_id, links.c.link_id == link_id)
    return await one(connection, statement.with_for_update() if hold else statement)


async def links_of_delivery(connection: AsyncConnection, farm_id: int, delivery_id: str) -> list[Record]:
    """The links that were made for one telling, oldest first."""
    statement = (
        select(links)
        .where(links.c.farm_id == farm_id, links.c.delivery_id == delivery_id)
        .order_by(links.c.made_ms, links.c.link_id)
    )
    return await many(connection, statement)


async def end_link(
    connection: AsyncConnection, farm_id: int, link_id: str, *, used_ms: Instant, used_for: str
) -> None:
    """A link is used once."""
    mine = (links.c.farm_id == farm_id) & (links.c.link_id == link_id) & links.c.used_ms.is_(None)
    await connection.execute(update(links).where(mine).values(used_ms=used_ms, used_for=used_for))
