"""What rooms usually show, as it was worked out each evening; and the readings it is worked out from.

A row is never changed: whoever judges that night again finds the same figures.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import MINUTE_MS, Instant, ProbeId, Quantity, Reading
from service.storage.insert import insert_into
from service.storage.rows import many
from service.storage.spans import Piece
from service.storage.tables import readings, usuals


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualRow:
    """What one quantity of a room usually shows from one moment to another."""

    quantity: Quantity
    made_ms: Instant
    from_ms: Instant
    until_ms: Instant
    steps: tuple[tuple[Instant, float | None], ...]
    """From this moment on this value; ``None`` where too few days can say."""


async def add_usual(connection: AsyncConnection, farm_id: int, room_id: str, row: UsualRow) -> None:
    """Keep what was worked out; the first of one moment stays."""
    values = {
        "farm_id": farm_id,
        "room_id": room_id,
        "quantity": row.quantity.value,
        "made_ms": row.made_ms,
        "from_ms": row.from_ms,
        "until_ms": row.until_ms,
        "steps": json.dumps(row.steps),
    }
    await connection.execute(insert_into(connection, usuals).values(values).on_conflict_do_nothing())


async def usual_of(
    connection: AsyncConnection, farm_id: int, room_id: str, from_ms: Instant, to_ms: Instant
) -> list[UsualRow]:
    """What was made for any part of a span, in the order in which it was made; where two say, the later counts."""
    u = usuals.c
    statement = select(usuals).where(
        u.farm_id == farm_id, u.room_id == room_id, u.from_ms < to_ms, u.until_ms > from_ms
    )
    found = await many(connection, statement.order_by(u.made_ms, u.quantity))
    return [
        UsualRow(
            quantity=Quantity(row["quantity"]),
            made_ms=row["made_ms"],
            from_ms=row["from_ms"],
            until_ms=row["until_ms"],
            steps=tuple((at_ms, value) for at_ms, value in json.loads(row["steps"])),
        )
        for row in found
    ]


async def newest_made_ms(connection: AsyncConnection, farm_id: int) -> dict[str, Instant]:
    """For each room that has any: when its newest was made."""
    u = usuals.c
    statement = select(u.room_id, func.max(u.made_ms)).where(u.farm_id == farm_id).group_by(u.room_id)
    return {row[0]: row[1] for row in await connection.execute(statement)}


async def lowest_by_minute(connection: AsyncConnection, farm_id: int, pieces: Iterable[Piece]) -> list[Reading]:
    """The lowest reading of every minute, as if measured when the minute began.

    A fortnight of readings every ten seconds is thinned by the database, not by us: it does so beside our own
    work, and hands over a sixth.
    """
    r = readings.c
    found: list[Reading] = []
    for piece in pieces:
        minute = (r.at_ms // MINUTE_MS).label("minute")
        statement = (
            select(minute, func.min(r.value))
            .where(
                r.farm_id == farm_id,
                r.series_id == piece.series_id,
                r.at_ms >= piece.from_ms,
                r.at_ms < piece.to_ms,
            )
            .group_by(minute)
            .order_by(minute)
        )
        probe, quantity = ProbeId(piece.probe), Quantity(piece.quantity)
        found += [
            Reading(probe=probe, quantity=quantity, at_ms=int(row[0]) * MINUTE_MS, value=row[1])
            for row in await connection.execute(statement)
        ]
    return found
