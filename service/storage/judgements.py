"""How far each room is judged, what is remembered of it, and who may judge it now."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import uuid4

from sqlalchemy import exists, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant, ProbeId
from service.storage.rows import one
from service.storage.tables import arrivals, judgements, placements

CHUNK = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The present of a room as last judged. ``state`` is plain JSON, empty before the first time."""

    room_id: str
    judged_ms: Instant
    state: Mapping[str, object]
    arrivals: Mapping[str, Instant]
    """Batches of readings that came since: the oldest moment of each."""

    @property
    def again_from_ms(self) -> Instant | None:
        """The oldest reading that came after its time had been judged."""
        return min((at for at in self.arrivals.values() if at <= self.judged_ms), default=None)


async def begin(connection: AsyncConnection, farm_id: int, room_id: str, judged_ms: Instant) -> None:
    """Start judging a room from ``judged_ms`` on."""
    row = {"farm_id": farm_id, "room_id": room_id, "judged_ms": judged_ms, "state": "{}"}
    await connection.execute(judgements.insert().values(row))


async def look(connection: AsyncConnection, farm_id: int, room_id: str) -> Judgement | None:
    """The room as last judged, without taking it."""
    here = (judgements.c.farm_id == farm_id) & (judgements.c.room_id == room_id)
    row = await one(connection, select(judgements).where(here))
    if row is None:
        return None
    return Judgement(room_id=room_id, judged_ms=row["judged_ms"], state=json.loads(row["state"]), arrivals={})


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
    here = select(arrivals.c.arrival_id, arrivals.c.at_ms).where(
        arrivals.c.farm_id == farm_id, arrivals.c.room_id == room_id
    )
    came = {row[0]: row[1] for row in await connection.execute(here)}
    return Judgement(room_id=room_id, judged_ms=row["judged_ms"], state=json.loads(row["state"]), arrivals=came)


async def save(
    connection: AsyncConnection,
    farm_id: int,
    judgement: Judgement,
    *,
    judged_ms: Instant,
    state: Mapping[str, object],
) -> None:
    """Remember a room as judged up to ``judged_ms``, with everything that had come taken into account."""
    await connection.execute(
        update(judgements)
        .where(judgements.c.farm_id == farm_id, judgements.c.room_id == judgement.room_id)
        .values(judged_ms=judged_ms, state=json.dumps(state, separators=(",", ":")))
    )
    seen = sorted(judgement.arrivals)
    for start in range(0, len(seen), CHUNK):
        part = arrivals.c.arrival_id.in_(seen[start : start + CHUNK])
        await connection.execute(arrivals.delete().where(arrivals.c.farm_id == farm_id, part))


async def rooms_to_judge(connection: AsyncConnection, farm_id: int, until_ms: Instant) -> list[str]:
    """Rooms that are not judged up to ``until_ms``, have late readings, or are over a limit for people.

    The last are always due: somebody may go in while nothing new is heard.
    """
    late = exists().where(
        arrivals.c.farm_id == judgements.c.farm_id,
        arrivals.c.room_id == judgements.c.room_id,
        arrivals.c.at_ms <= judgements.c.judged_ms,
    )
    over = judgements.c.people_state.contains('"over":["', autoescape=True)
    statement = select(judgements.c.room_id).where(
        judgements.c.farm_id == farm_id, (judgements.c.judged_ms < until_ms) | late | over
    )
    return sorted(await connection.scalars(statement))


async def note_new_readings(
    connection: AsyncConnection, farm_id: int, times: Mapping[ProbeId, Sequence[Instant]]
) -> set[str]:
    """Find the rooms that new readings belong to, and note for each that something came, and how old it is.

    Recording never waits for judging and never asks how far it has come: whoever judges next sees the note, with
    the readings, and knows by then whether they are late.

    Args:
        connection: the recording transaction.
        farm_id: the farm.
        times: for each probe, the moments of its new readings.
    """
    oldest: dict[str, Instant] = {}
    for probe, room, from_ms, to_ms in await _placements_of(connection, farm_id, set(times)):
        inside = [t for t in times[ProbeId(probe)] if from_ms <= t and (to_ms is None or t < to_ms)]
        if inside:
            oldest[room] = min(*inside, oldest.get(room, inside[0]))
    for room, at_ms in sorted(oldest.items()):
        await note_arrival(connection, farm_id, room, at_ms)
    return set(oldest)


async def note_arrival(connection: AsyncConnection, farm_id: int, room_id: str, at_ms: Instant) -> None:
    """Readings from ``at_ms`` on have become this room's."""
    row = {"farm_id": farm_id, "arrival_id": uuid4().hex, "room_id": room_id, "at_ms": at_ms}
    await connection.execute(arrivals.insert().values(row))


async def _placements_of(
    connection: AsyncConnection, farm_id: int, probe_ids: set[ProbeId]
) -> list[tuple[str, str, Instant, Instant | None]]:
    p = placements.c
    statement = select(p.probe_id, p.room_id, p.valid_from_ms, p.valid_to_ms).where(
        p.farm_id == farm_id, p.probe_id.in_(probe_ids)
    )
    return [(row[0], row[1], row[2], row[3]) for row in await connection.execute(statement)]
