"""The versions of a profile, and which batches that are in a room keep which."""

from __future__ import annotations

from sqlalchemy import and_, func, select

from service.storage.database import Connection
from service.storage.rows import Record, many
from service.storage.tables import batches, confirmations, profiles, stays


async def versions_of(connection: Connection, farm_id: int, name: str) -> list[Record]:
    """Every version of a profile, the oldest first, without its text."""
    p = profiles.c
    statement = select(p.version, p.body_sha256, p.copied_from, p.recorded_ms, p.who)
    return await many(connection, statement.where(p.farm_id == farm_id, p.profile == name).order_by(p.version))


async def confirmations_of_version(connection: Connection, farm_id: int, name: str, version: int) -> list[Record]:
    """Who stands for which stage of a version, since when."""
    c = confirmations.c
    statement = select(c.profile, c.version, c.stage, c.recorded_ms, c.who)
    return await many(
        connection,
        statement.where(c.farm_id == farm_id, c.profile == name, c.version == version).order_by(c.stage),
    )


async def batches_in_rooms(connection: Connection, farm_id: int, name: str) -> list[Record]:
    """Batches that are in a room and go by a profile in their newest stay, each with the version it goes by."""
    b, s = batches.c, stays.c
    newest_first = (s.valid_from_ms.desc(), s.recorded_ms.desc())
    ranked = (
        select(
            b.batch_id,
            func.coalesce(s.profile, b.profile).label("profile"),
            func.coalesce(s.version, b.version).label("version"),
            s.room_id,
            s.stage,
            func.row_number().over(partition_by=s.batch_id, order_by=newest_first).label("place"),
        )
        .join(stays, and_(s.farm_id == b.farm_id, s.batch_id == b.batch_id))
        .where(b.farm_id == farm_id)
        .subquery()
    )
    r = ranked.c
    present = select(r.batch_id, r.version, r.room_id, r.stage).where(
        r.place == 1, r.profile == name, r.room_id.is_not(None)
    )
    return await many(connection, present.order_by(r.batch_id))
