"""The farm, its rooms, and where its probes hang."""

from __future__ import annotations

from sqlalchemy import func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.errors import NotAllowed, NotFound
from service.storage import judgements
from service.storage.insert import insert_into
from service.storage.rows import Record, many, one
from service.storage.tables import farms, placements, probes, rooms

COOLER = "packing cooler"
"""The kind of room that holds what is picked already."""
OUTSIDE = "outside"
"""The kind of "room" that is the air around the farm."""


def wakes_from_ms(room: Record) -> Instant:
    """From when on a room may wake people: when its first days end.

    A cooler has no first days: what is wrong there is wrong for product that is picked already.
    """
    return 0 if room["kind"] == COOLER else int(room["first_days_end_ms"])


def is_past_first_days(room: Record, at_ms: Instant) -> bool:
    """Whether a room may wake people at a moment."""
    return wakes_from_ms(room) <= at_ms


async def farm_by_slug(connection: AsyncConnection, slug: str) -> Record | None:
    """The farm that is called ``slug`` on the wire."""
    return await one(connection, select(farms).where(farms.c.slug == slug))


async def farm(connection: AsyncConnection, farm_id: int) -> Record:
    """A farm by its number.

    Raises:
        NotFound: there is none.
    """
    row = await one(connection, select(farms).where(farms.c.farm_id == farm_id))
    if row is None:
        raise NotFound(f"there is no farm {farm_id}")
    return row


async def add_farm(connection: AsyncConnection, values: Record) -> int:
    """Add a farm; return its number."""
    top = await connection.scalar(select(func.max(farms.c.farm_id)))
    farm_id = (top or 0) + 1
    await connection.execute(farms.insert().values({**values, "farm_id": farm_id}))
    return farm_id


async def change_farm(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Change what is known of the farm."""
    await connection.execute(update(farms).where(farms.c.farm_id == farm_id).values(**values))


async def all_rooms(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """Every room, in the farm's own order."""
    statement = select(rooms).where(rooms.c.farm_id == farm_id).order_by(rooms.c.position, rooms.c.room_id)
    return await many(connection, statement)


async def rooms_that_grow(connection: AsyncConnection, farm_id: int) -> list[str]:
    """The rooms that have limits of their own: all but the air outside."""
    statement = select(rooms.c.room_id).where(rooms.c.farm_id == farm_id, rooms.c.kind != OUTSIDE)
    return [str(row[0]) for row in await connection.execute(statement)]


async def room(connection: AsyncConnection, farm_id: int, room_id: str) -> Record:
    """One room.

    Raises:
        NotFound: the farm has no such room.
    """
    statement = select(rooms).where(rooms.c.farm_id == farm_id, rooms.c.room_id == room_id)
    row = await one(connection, statement)
    if row is None:
        raise NotFound(f"there is no room {room_id!r}")
    return row


async def add_room(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Add a room; it is judged from its creation on.

    Raises:
        NotAllowed: a room with this id or text name exists.
    """
    clash = (rooms.c.room_id == values["room_id"]) | (rooms.c.text_name == values["text_name"])
    if await connection.scalar(select(rooms.c.name).where(rooms.c.farm_id == farm_id, clash)):
        raise NotAllowed(f"there is a room {values['room_id']!r} or one called {values['text_name']!r} in texts")
    last = await connection.scalar(select(func.max(rooms.c.position)).where(rooms.c.farm_id == farm_id))
    position = 0 if last is None else last + 1
    row = {"first_days_who": values["who"], **values, "farm_id": farm_id, "position": position}
    await connection.execute(rooms.insert().values(row))
    await judgements.begin(connection, farm_id, values["room_id"], values["created_ms"])


async def end_first_days(
    connection: AsyncConnection, farm_id: int, room_id: str, at_ms: Instant, *, who: str
) -> None:
    """From ``at_ms`` on the room may wake people; ``who`` says so."""
    await room(connection, farm_id, room_id)
    await connection.execute(
        update(rooms)
        .where(rooms.c.farm_id == farm_id, rooms.c.room_id == room_id)
        .values(first_days_end_ms=at_ms, first_days_who=who)
    )


async def all_probes(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """Every probe that was heard, with where it hangs now (``room_id`` is ``None`` while it waits)."""
    p = placements.c
    statement = (
        select(probes, p.room_id, p.place, p.valid_from_ms)
        .outerjoin(
            placements,
            (p.farm_id == probes.c.farm_id) & (p.probe_id == probes.c.probe_id) & p.valid_to_ms.is_(None),
        )
        .where(probes.c.farm_id == farm_id)
        .order_by(probes.c.probe_id)
    )
    return await many(connection, statement)


async def placements_in(
    connection: AsyncConnection, farm_id: int, room_id: str, *, from_ms: Instant = 0
) -> list[Record]:
    """Placements in a room that did not end before ``from_ms``, oldest first."""
    p = placements.c
    statement = (
        select(placements)
        .where(
            p.farm_id == farm_id,
            p.room_id == room_id,
            p.valid_to_ms.is_(None) | (p.valid_to_ms > from_ms),
        )
        .order_by(p.valid_from_ms, p.probe_id)
    )
    return await many(connection, statement)


async def place_probe(connection: AsyncConnection, farm_id: int, values: Record) -> None:
    """Put a probe in a room (or, with ``room_id`` ``None``, take it out) from a moment on.

    Raises:
        NotFound: the room does not exist.
        NotAllowed: the probe was moved later than that already; the past is not rewritten.
    """
    if values["room_id"] is not None:
        await room(connection, farm_id, values["room_id"])
    p = placements.c
    mine = (p.farm_id == farm_id) & (p.probe_id == values["probe_id"])
    spans = select(func.max(p.valid_from_ms), func.max(p.valid_to_ms)).where(mine)
    latest_ms, left_ms = (await connection.execute(spans)).one()
    from_ms = values["valid_from_ms"]
    if (latest_ms is not None and latest_ms >= from_ms) or (left_ms is not None and left_ms > from_ms):
        raise NotAllowed("the probe was moved at or after that moment already; choose a later one")
    await connection.execute(
        update(placements).where(mine, p.valid_to_ms.is_(None)).values(valid_to_ms=values["valid_from_ms"])
    )
    await _hear_of(connection, farm_id, values["probe_id"], values["recorded_ms"])
    if values["room_id"] is not None:
        await connection.execute(placements.insert().values({**values, "farm_id": farm_id, "valid_to_ms": None}))
        await judgements.note_arrival(connection, farm_id, values["room_id"], values["valid_from_ms"])


async def _hear_of(connection: AsyncConnection, farm_id: int, probe_id: str, at_ms: Instant) -> None:
    """A probe may be placed before it was ever heard; it is listed as never heard until then."""
    row = {"farm_id": farm_id, "probe_id": probe_id, "first_heard_ms": at_ms, "last_heard_ms": 0}
    await connection.execute(insert_into(connection, probes).values(row).on_conflict_do_nothing())
