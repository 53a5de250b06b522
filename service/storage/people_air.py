"""What people limits are judged from and by: the room's air as remembered, its probes, and who is on the way."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.errors import NotFound
from service.storage.rows import Record, many, one
from service.storage.tables import answers, happenings, judgements, placements, probes


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """What is kept of a room's air. Plain values; ``state`` is ``None`` where CO2 was never heard."""

    at_ms: Instant | None
    state: Mapping[str, Any] | None


async def remembered(connection: AsyncConnection, farm_id: int, room_id: str) -> Remembered:
    """What is kept of a room's air."""
    j = judgements.c
    statement = select(j.people_ms, j.people_state).where(j.farm_id == farm_id, j.room_id == room_id)
    row = await one(connection, statement)
    if row is None or row["people_state"] is None:
        return Remembered(at_ms=None, state=None)
    return Remembered(at_ms=row["people_ms"], state=json.loads(row["people_state"]))


async def remember(
    connection: AsyncConnection, farm_id: int, room_id: str, *, at_ms: Instant, state: Mapping[str, Any]
) -> None:
    """Keep what is known of a room's air up to ``at_ms``."""
    mine = (judgements.c.farm_id == farm_id) & (judgements.c.room_id == room_id)
    kept = json.dumps(state, separators=(",", ":"))
    await connection.execute(update(judgements).where(mine).values(people_ms=at_ms, people_state=kept))


async def probes_in(connection: AsyncConnection, farm_id: int, room_id: str, *, from_ms: Instant) -> list[Record]:
    """Placements in a room that did not end before ``from_ms``, each with its probe's ``co2_top_ppm``."""
    p = placements.c
    statement = (
        select(p.probe_id, p.valid_from_ms, p.valid_to_ms, probes.c.co2_top_ppm)
        .join(probes, (probes.c.farm_id == p.farm_id) & (probes.c.probe_id == p.probe_id))
        .where(p.farm_id == farm_id, p.room_id == room_id, p.valid_to_ms.is_(None) | (p.valid_to_ms > from_ms))
        .order_by(p.valid_from_ms, p.probe_id)
    )
    return await many(connection, statement)


async def set_top(
    connection: AsyncConnection, farm_id: int, probe_id: str, top_ppm: float | None, *, who: str, at_ms: Instant
) -> None:
    """Somebody says how far a probe reads; ``None``: not known.

    Raises:
        NotFound: the probe was never heard nor placed.
    """
    mine = (probes.c.farm_id == farm_id) & (probes.c.probe_id == probe_id)
    if await connection.scalar(select(probes.c.probe_id).where(mine)) is None:
        raise NotFound(f"nothing was heard of a probe {probe_id!r}")
    said = {"co2_top_ppm": top_ppm, "co2_top_who": who, "co2_top_recorded_ms": at_ms}
    await connection.execute(update(probes).where(mine).values(said))


async def on_the_way(
    connection: AsyncConnection, farm_id: int, room_id: str, *, since_ms: Instant
) -> dict[str, Instant]:
    """Who said last that they are going, in a happening of the room that is not closed; and when."""
    a, h = answers.c, happenings.c
    statement = (
        select(a.person_id, a.word, a.at_ms)
        .join(happenings, (h.farm_id == a.farm_id) & (h.happening_id == a.happening_id))
        .where(a.farm_id == farm_id, h.room_id == room_id, h.closed_ms.is_(None), a.at_ms > since_ms)
        .where(a.word.in_(("going", "out", "cannot")))
        .order_by(a.at_ms)
    )
    last = {row["person_id"]: row for row in await many(connection, statement)}
    return {person: row["at_ms"] for person, row in last.items() if row["word"] == "going"}
