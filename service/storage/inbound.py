"""What came in by text, from whom, and what became of it; and what we need to know of whoever sent it."""

from __future__ import annotations

from sqlalchemy import and_, func, or_, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant
from service.storage.insert import insert_into
from service.storage.rows import Record, many, one
from service.storage.tables import answers, deliveries, happenings, inbound, notices, people, trials
from service.storage.trials import NIGHT_RING


async def add_inbound(connection: AsyncConnection, farm_id: int, values: Record) -> bool:
    """Write down what came in; ``False`` when it was there already."""
    row = {"person_id": None, "word": None, "happening_id": None, "result": "", **values, "farm_id": farm_id}
    statement = insert_into(connection, inbound).values(row).on_conflict_do_nothing()
    return bool((await connection.execute(statement.returning(inbound.c.inbound_id))).first())


async def end_inbound(connection: AsyncConnection, farm_id: int, inbound_id: str, values: Record) -> None:
    """Write down what became of it: ``person_id``, ``word``, ``happening_id``, ``result``."""
    mine = (inbound.c.farm_id == farm_id) & (inbound.c.inbound_id == inbound_id)
    await connection.execute(update(inbound).where(mine).values(**values))


async def inbound_row(connection: AsyncConnection, farm_id: int, inbound_id: str) -> Record | None:
    """One text that came in."""
    i = inbound.c
    return await one(connection, select(inbound).where(i.farm_id == farm_id, i.inbound_id == inbound_id))


async def inbound_between(
    connection: AsyncConnection,
    farm_id: int,
    *,
    from_ms: Instant,
    to_ms: Instant,
    limit: int,
    unknown: bool | None = None,
) -> list[Record]:
    """What came in during a span, newest first, with the ``name`` of who sent it.

    Args:
        connection: to read with.
        farm_id: the farm.
        from_ms: inclusive.
        to_ms: exclusive.
        limit: at most so many.
        unknown: only from numbers that are nobody's (true), or only from people (false).
    """
    i, p = inbound.c, people.c
    statement = (
        select(inbound, p.name)
        .outerjoin(people, and_(p.farm_id == i.farm_id, p.person_id == i.person_id))
        .where(i.farm_id == farm_id, i.received_ms >= from_ms, i.received_ms < to_ms)
        .order_by(i.received_ms.desc(), i.inbound_id)
        .limit(limit)
    )
    if unknown is not None:
        statement = statement.where(i.person_id.is_(None) == unknown)
    return await many(connection, statement)


async def has_had(
    connection: AsyncConnection, farm_id: int, person_id: str, result: str, *, since_ms: Instant
) -> bool:
    """Whether something that a person sent since a moment came to this result."""
    i = inbound.c
    mine = (i.farm_id == farm_id) & (i.person_id == person_id) & (i.result == result) & (i.received_ms > since_ms)
    return await one(connection, select(i.inbound_id).where(mine)) is not None


async def told_last(connection: AsyncConnection, farm_id: int, person_ids: list[str]) -> str | None:
    """Which of these people was told something last."""
    d = deliveries.c
    told_ms = func.coalesce(d.ended_ms, d.first_try_ms, d.added_ms)
    mine = (d.farm_id == farm_id) & d.person_id.in_(person_ids)
    row = await one(connection, select(d.person_id).where(mine).order_by(told_ms.desc(), d.person_id).limit(1))
    return None if row is None else str(row["person_id"])


async def texts_to(connection: AsyncConnection, farm_id: int, person_id: str, *, since_ms: Instant) -> list[str]:
    """The words of what a person was sent since a moment."""
    d = deliveries.c
    mine = (d.farm_id == farm_id) & (d.person_id == person_id) & (d.added_ms >= since_ms) & (d.text != "")
    return [str(row["text"]) for row in await many(connection, select(d.text).where(mine))]


async def answers_by(
    connection: AsyncConnection, farm_id: int, person_id: str, *, since_ms: Instant
) -> list[Record]:
    """What a person answered since a moment, oldest first."""
    a = answers.c
    statement = select(answers).where(a.farm_id == farm_id, a.person_id == person_id, a.at_ms >= since_ms)
    return await many(connection, statement.order_by(a.at_ms, a.happening_id))


async def last_told_of(
    connection: AsyncConnection, farm_id: int, person_id: str, *, since_ms: Instant, room_id: str | None
) -> Record | None:
    """The happening, of this room or of any, that a person was told of last since a moment."""
    d, n, h = deliveries.c, notices.c, happenings.c
    statement = (
        select(happenings)
        .join(notices, and_(n.farm_id == h.farm_id, n.happening_id == h.happening_id))
        .join(deliveries, and_(d.farm_id == n.farm_id, d.notice_key == n.notice_key))
        .where(h.farm_id == farm_id, d.person_id == person_id, d.added_ms >= since_ms)
        .order_by(d.added_ms.desc(), h.happening_id)
        .limit(1)
    )
    if room_id is not None:
        statement = statement.where(or_(h.room_id == room_id, n.room_id == room_id))
    return await one(connection, statement)


async def heard_from(connection: AsyncConnection, farm_id: int, person_id: str, at_ms: Instant) -> None:
    """A text of theirs reached us: the whole way there and back works, and whatever was tried is answered.

    Not the night test: that asks whether the phone rang, and only the answer to it says so.
    """
    mine = (people.c.farm_id == farm_id) & (people.c.person_id == person_id)
    newest = func.coalesce(people.c.round_trip_ms, 0) <= at_ms
    await connection.execute(update(people).where(mine, newest).values(round_trip_ms=at_ms))
    t = trials.c
    tried = (t.farm_id == farm_id) & (t.person_id == person_id) & t.answered_ms.is_(None) & (t.at_ms <= at_ms)
    tried &= t.kind != NIGHT_RING
    await connection.execute(update(trials).where(tried).values(answered_ms=at_ms, answered_by=person_id))


async def set_opted_out(connection: AsyncConnection, farm_id: int, person_id: str, at_ms: Instant | None) -> None:
    """A person told the phone company that they want no texts of ours; or (``None``) that they want them again."""
    mine = (people.c.farm_id == farm_id) & (people.c.person_id == person_id)
    await connection.execute(update(people).where(mine).values(opted_out_ms=at_ms))
