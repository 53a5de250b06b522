"""How far each room is judged, what is remembered of it, and who may judge it now."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant, ProbeId
from service.storage.rows import one
from service.storage.tables import judgements, placements


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The present of a room as last judged. ``state`` is plain JSON, empty before the first time."""

    room_id: str
    judged_ms: Instant
    state: Mapping[str, object]
    again_from_ms: Instant | None
    """The oldest reading that came after its time had been judged."""


async def begin(connection: AsyncConnection, farm_id: int, room_id: str, judged_ms: Instant) -> None:
    """Start judging a room from ``judged_ms`` on."""
    row = {"farm_id": farm_id, "room_id": room_id, "judged_ms": judged_ms, "state": "{}", "again_from_ms": None}
    await connection.execute(judgements.insert().values(row))


async def lock(connection: AsyncConnection, farm_id: int, room_id: str) -> Judgement | None:
    """Take the room for this transaction. (SQLite's one writer has it anyway.) Never take two at once."""
    statement = (
        select(judgements)
        .where(judgements.c.farm_id == farm_id, judgements.c.room_id == room_id)
        .with_for_update()
    )
    row = await one(connection, statement)
    if row is None:
        return None
    return Judgement(
        room_id=room_id,
        judged_ms=row["judged_ms"],
        state=json.loads(row["state"]),
        again_from_ms=row["again_from_ms"],
    )


async def save(
    connection: AsyncConnection, farm_id: int, room_id: str, *, judged_ms: Instant, state: Mapping[str, object]
) -> None:
    """Remember a room as judged up to ``judged_ms``, with every late reading taken into account."""
    await connection.execute(
        update(judgements)
        .where(judgements.c.farm_id == farm_id, judgements.c.room_id == room_id)
        .values(judged_ms=judged_ms, state=json.dumps(state, separators=(",", ":")), again_from_ms=None)
    )


async def rooms_to_judge(connection: AsyncConnection, farm_id: int, until_ms: Instant) -> list[str]:
    """Rooms that are not judged up to ``until_ms`` or have late readings."""
    statement = select(judgements.c.room_id).where(
        judgements.c.farm_id == farm_id,
        (judgements.c.judged_ms < until_ms) | judgements.c.again_from_ms.is_not(None),
    )
    return sorted(await connection.scalars(statement))


async def note_new_readings(
    connection: AsyncConnection, farm_id: int, times: Mapping[ProbeId, Sequence[Instant]], *, settled_ms: Instant
) -> set[str]:
    """Find the rooms that new readings belong to; mark those judged past one of them to be judged again.

    Args:
        connection: the recording transaction.
        farm_id: the farm.
        times: for each probe, the moments of its new readings.
        settled_ms: a judgement that is under way may pass readings up to here without seeing them; their rooms
            are locked until this transaction ends.
    """
    places = await _placements_of(connection, farm_id, set(times))
    oldest: dict[str, Instant] = {}
    for probe, room, from_ms, to_ms in places:
        inside = [t for t in times[ProbeId(probe)] if from_ms <= t and (to_ms is None or t < to_ms)]
        if inside:
            oldest[room] = min(*inside, oldest.get(room, inside[0]))
    await _lock_all(connection, farm_id, {room for room, at_ms in oldest.items() if at_ms <= settled_ms})
    judged = await _judged(connection, farm_id, set(oldest))
    for room, at_ms in sorted(oldest.items()):
        if room in judged and at_ms <= judged[room]:
            await _mark(connection, farm_id, room, at_ms)
    return set(oldest)


async def _lock_all(connection: AsyncConnection, farm_id: int, room_ids: set[str]) -> None:
    """Take several rooms, in one order for everybody, so that two recorders never wait for each other."""
    if room_ids:
        await connection.execute(
            select(judgements.c.room_id)
            .where(judgements.c.farm_id == farm_id, judgements.c.room_id.in_(room_ids))
            .order_by(judgements.c.room_id)
            .with_for_update()
        )


async def _placements_of(
    connection: AsyncConnection, farm_id: int, probe_ids: set[ProbeId]
) -> list[tuple[str, str, Instant, Instant | None]]:
    p = placements.c
    statement = select(p.probe_id, p.room_id, p.valid_from_ms, p.valid_to_ms).where(
        p.farm_id == farm_id, p.probe_id.in_(probe_ids)
    )
    return [(row[0], row[1], row[2], row[3]) for row in await connection.execute(statement)]


async def _judged(connection: AsyncConnection, farm_id: int, rooms: set[str]) -> dict[str, Instant]:
    statement = select(judgements.c.room_id, judgements.c.judged_ms).where(
        judgements.c.farm_id == farm_id, judgements.c.room_id.in_(rooms)
    )
    return {row[0]: row[1] for row in await connection.execute(statement)}


async def _mark(connection: AsyncConnection, farm_id: int, room_id: str, at_ms: Instant) -> None:
    earlier = judgements.c.again_from_ms.is_(None) | (judgements.c.again_from_ms > at_ms)
    await connection.execute(
        update(judgements)
        .where(judgements.c.farm_id == farm_id, judgements.c.room_id == room_id, earlier)
        .values(again_from_ms=at_ms)
    )
