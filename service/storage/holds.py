"""What is held back: a person working in a room, or limits left until a time.

Rows are added and ended, never changed otherwise: who held what, and until when they meant to, stays to be seen.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Final

from sqlalchemy import ColumnElement, func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant, Quantity, Side
from service.errors import NotFound
from service.storage.rows import Record, many, one
from service.storage.tables import holds

WORKING: Final = "working"
LEAVE: Final = "leave"


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRow:
    """One hold, in one room or (``room_id`` ``None``) in all of them."""

    hold_id: str
    kind: str
    room_id: str | None
    quantity: Quantity | None
    """``None``, and no side either: every crop limit of the room."""
    side: Side | None
    person_id: str | None
    """Who is inside; for ``working`` only."""
    from_ms: Instant
    until_ms: Instant
    """When it was meant to end."""
    ended_ms: Instant | None
    ended_by: str | None
    why: str
    recorded_ms: Instant
    who: str

    @property
    def end_ms(self) -> Instant:
        """When it ends or ended."""
        return self.until_ms if self.ended_ms is None else min(self.until_ms, self.ended_ms)

    def is_on(self, at_ms: Instant) -> bool:
        """Whether it holds at a moment."""
        return self.from_ms <= at_ms < self.end_ms


async def add_hold(connection: AsyncConnection, farm_id: int, hold: HoldRow) -> None:
    """Add a hold."""
    await connection.execute(holds.insert().values({**asdict(hold), "farm_id": farm_id}))


async def end_hold(connection: AsyncConnection, farm_id: int, hold_id: str, at_ms: Instant, *, who: str) -> None:
    """End a hold at a moment, unless that was done before."""
    mine = (holds.c.farm_id == farm_id) & (holds.c.hold_id == hold_id) & holds.c.ended_ms.is_(None)
    await connection.execute(update(holds).where(mine).values(ended_ms=at_ms, ended_by=who))


async def hold(connection: AsyncConnection, farm_id: int, hold_id: str) -> HoldRow:
    """One hold.

    Raises:
        NotFound: there is none.
    """
    row = await one(connection, select(holds).where(holds.c.farm_id == farm_id, holds.c.hold_id == hold_id))
    if row is None:
        raise NotFound(f"nothing is or was held back under {hold_id!r}")
    return _hold(row)


async def holds_of(
    connection: AsyncConnection, farm_id: int, room_id: str, *, from_ms: Instant = 0
) -> list[HoldRow]:
    """Every hold of a room, those of all rooms among them, that did not end by ``from_ms``; oldest first."""
    return await _holds(connection, farm_id, from_ms, holds.c.room_id.is_(None) | (holds.c.room_id == room_id))


async def all_holds(connection: AsyncConnection, farm_id: int, *, from_ms: Instant = 0) -> list[HoldRow]:
    """Every hold of the farm that did not end by ``from_ms``; oldest first."""
    return await _holds(connection, farm_id, from_ms)


async def _holds(
    connection: AsyncConnection, farm_id: int, from_ms: Instant, *which: ColumnElement[bool]
) -> list[HoldRow]:
    h = holds.c
    lasts = (h.until_ms > from_ms) & (func.coalesce(h.ended_ms, h.until_ms) > from_ms)
    statement = select(holds).where(h.farm_id == farm_id, lasts, *which)
    return [_hold(row) for row in await many(connection, statement.order_by(h.from_ms, h.recorded_ms, h.hold_id))]


def _hold(row: Record) -> HoldRow:
    given = {name: row[name] for name in HoldRow.__dataclass_fields__}
    quantity = None if row["quantity"] is None else Quantity(row["quantity"])
    side = None if row["side"] is None else Side(row["side"])
    return HoldRow(**{**given, "quantity": quantity, "side": side})
