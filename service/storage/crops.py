"""Profiles as the farm keeps them, batches, and where each batch was at which stage."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.errors import NotAllowed, NotFound
from service.storage.insert import insert_into
from service.storage.rows import Record, many, one
from service.storage.tables import batches, confirmations, profiles, stays


async def add_profiles(connection: AsyncConnection, farm_id: int, rows: Sequence[Record]) -> None:
    """Keep profile versions; the same version again changes nothing."""
    if rows:
        statement = insert_into(connection, profiles).on_conflict_do_nothing()
        await connection.execute(statement, [{**row, "farm_id": farm_id} for row in rows])


async def profiles_not_of(connection: AsyncConnection, farm_id: int, who: str) -> set[str]:
    """Names of the profiles of which somebody else added a version."""
    p = profiles.c
    return set(await connection.scalars(select(p.profile).where(p.farm_id == farm_id, p.who != who).distinct()))


async def all_profiles(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """The newest version of every profile."""
    newest = (
        select(profiles.c.profile, func.max(profiles.c.version).label("version"))
        .where(profiles.c.farm_id == farm_id)
        .group_by(profiles.c.profile)
        .subquery()
    )
    same = (profiles.c.profile == newest.c.profile) & (profiles.c.version == newest.c.version)
    statement = select(profiles).join(newest, same).where(profiles.c.farm_id == farm_id)
    return await many(connection, statement.order_by(profiles.c.profile))


async def profile(connection: AsyncConnection, farm_id: int, name: str, version: int | None = None) -> Record:
    """One profile version, the newest unless named.

    Raises:
        NotFound: there is none.
    """
    statement = (
        select(profiles)
        .where(profiles.c.farm_id == farm_id, profiles.c.profile == name)
        .order_by(profiles.c.version.desc())
    )
    if version is not None:
        statement = statement.where(profiles.c.version == version)
    row = await one(connection, statement)
    if row is None:
        raise NotFound(f"there is no profile {name!r}" + (f" version {version}" if version else ""))
    return row


async def confirm(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """A named person stands for the figures of a stage. The first confirmation stays."""
    row = {**values, "farm_id": farm_id}
    await connection.execute(insert_into(connection, confirmations).values(row).on_conflict_do_nothing())


async def confirmed(connection: AsyncConnection, farm_id: int) -> dict[tuple[str, int, str], Instant]:
    """Since when each confirmed stage, as (profile, version, stage), is stood for."""
    c = confirmations.c
    statement = select(c.profile, c.version, c.stage, c.recorded_ms).where(c.farm_id == farm_id)
    return {(row[0], row[1], row[2]): row[3] for row in await connection.execute(statement)}


async def confirmation(
    connection: AsyncConnection, farm_id: int, profile_name: str, version: int, stage: str
) -> Record | None:
    """Who stands for the figures of a stage, and since when; ``None`` while nobody does."""
    c = confirmations.c
    mine = (c.farm_id == farm_id) & (c.profile == profile_name) & (c.version == version) & (c.stage == stage)
    return await one(connection, select(confirmations).where(mine))


async def add_batch(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Add a batch.

    Raises:
        NotAllowed: there is one with this id.
    """
    mine = (batches.c.farm_id == farm_id) & (batches.c.batch_id == values["batch_id"])
    if await connection.scalar(select(batches.c.batch_id).where(mine)):
        raise NotAllowed(f"there is a batch {values['batch_id']!r} already")
    await connection.execute(batches.insert().values({**values, "farm_id": farm_id}))


async def batch(connection: AsyncConnection, farm_id: int, batch_id: str) -> Record:
    """One batch.

    Raises:
        NotFound: there is none.
    """
    statement = select(batches).where(batches.c.farm_id == farm_id, batches.c.batch_id == batch_id)
    row = await one(connection, statement)
    if row is None:
        raise NotFound(f"there is no batch {batch_id!r}")
    return row


async def add_stay(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """From a moment on the batch is in this room (or none) at this stage. Earlier stays are not touched.

    A stay that names no profile and version goes by those with which the batch was written down.
    """
    row = {**values, "farm_id": farm_id}
    await connection.execute(insert_into(connection, stays).values(row).on_conflict_do_nothing())


async def stays_of_room(connection: AsyncConnection, farm_id: int, room_id: str) -> list[Record]:
    """All stays of every batch that ever was in the room, each with its profile; in order of time."""
    here = select(stays.c.batch_id).where(stays.c.farm_id == farm_id, stays.c.room_id == room_id)
    return await _stays(connection, farm_id, stays.c.batch_id.in_(here))


async def stays_of_batch(connection: AsyncConnection, farm_id: int, batch_id: str) -> list[Record]:
    """Where a batch was at which stage and by which profile, as it was written down, in order."""
    return await _stays(connection, farm_id, stays.c.batch_id == batch_id)


async def _stays(connection: AsyncConnection, farm_id: int, which: ColumnElement[bool]) -> list[Record]:
    """Stays with the profile they name, or else that of the batch."""
    s, b = stays.c, batches.c
    statement = (
        select(
            *(column for column in s if column.name not in {"profile", "version"}),
            func.coalesce(s.profile, b.profile).label("profile"),
            func.coalesce(s.version, b.version).label("version"),
        )
        .join(batches, (b.farm_id == s.farm_id) & (b.batch_id == s.batch_id))
        .where(s.farm_id == farm_id, which)
        .order_by(s.batch_id, s.valid_from_ms, s.recorded_ms)
    )
    return await many(connection, statement)
