"""What the farm pass looks at: rooms' troubles that are still to be told, and failures of the whole site."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, func, select, update
from sqlalchemy.ext.asyncio import AsyncConnection

from rules.model import Instant, Quantity
from service.storage.rows import Record, many
from service.storage.tables import answers, deliveries, happenings, notices, readings, series

_ENDS = ("back", "held")


async def fresh_troubles(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """First texts about rooms that nobody was told of yet, with their facts; the oldest first."""
    n, h = notices.c, happenings.c
    fresh = and_(n.addressed == 0, h.ended_ms.is_(None), h.part_of.is_(None), ~_has_tellings())
    return await _rows(connection, _troubles(farm_id, fresh))


async def told_troubles(
    connection: AsyncConnection, farm_id: int, *, from_ms: Instant, words: Collection[str]
) -> list[Record]:
    """Troubles since ``from_ms`` that go on and were told; ``answered`` says whether by one of ``words``."""
    n, h, a = notices.c, happenings.c, answers.c
    said = exists().where(a.farm_id == n.farm_id, a.happening_id == n.happening_id, a.word.in_(list(words)))
    told = and_(n.at_ms >= from_ms, h.ended_ms.is_(None), h.part_of.is_(None), _has_tellings())
    return await _rows(connection, _troubles(farm_id, told).add_columns(said.label("answered")))


def _troubles(farm_id: int, which: ColumnElement[bool]) -> Select[Any]:
    n, h = notices.c, happenings.c
    return (
        select(notices)
        .join(happenings, and_(h.farm_id == n.farm_id, h.happening_id == n.happening_id))
        .where(n.farm_id == farm_id, n.kind == "trouble", n.telling == "wake", n.room_id.is_not(None), which)
        .order_by(n.at_ms, n.notice_key)
    )


def _has_tellings() -> ColumnElement[bool]:
    d = deliveries.c
    return exists().where(d.farm_id == notices.c.farm_id, d.notice_key == notices.c.notice_key)


async def open_sites(connection: AsyncConnection, farm_id: int, mark: str) -> list[Record]:
    """Failures of the whole site that go on, with the notices that told them, the oldest first."""
    n, h = notices.c, happenings.c
    statement = (
        select(notices, h.began_ms)
        .join(happenings, and_(h.farm_id == n.farm_id, h.happening_id == n.happening_id))
        .where(n.farm_id == farm_id, n.kind == "site", h.ended_ms.is_(None), h.happening_id.startswith(mark))
        .order_by(h.began_ms, h.happening_id)
    )
    return await _rows(connection, statement)


async def noticed_ms(connection: AsyncConnection, farm_id: int, happening_id: str, kind: str) -> Instant | None:
    """As of when there is a notice of this kind about a happening; ``None`` without one."""
    n = notices.c
    mine = (n.farm_id == farm_id) & (n.happening_id == happening_id) & (n.kind == kind)
    found: Instant | None = await connection.scalar(select(func.max(n.at_ms)).where(mine))
    return found


async def ended_by_hold(connection: AsyncConnection, farm_id: int, happening_ids: Collection[str]) -> set[str]:
    """Those of these happenings that ended because the room is left alone for a time, not because it is back."""
    n = notices.c
    mine = (n.farm_id == farm_id) & n.happening_id.in_(list(happening_ids)) & (n.kind == "held")
    return {str(found) for found in await connection.scalars(select(n.happening_id).where(mine))}


async def beyond_since(
    connection: AsyncConnection, farm_id: int, happening_ids: Collection[str]
) -> Instant | None:
    """Since when the first of these rooms is beyond its limit, as its first text has it."""
    n = notices.c
    mine = (n.farm_id == farm_id) & n.happening_id.in_(list(happening_ids)) & (n.kind == "trouble")
    return min(
        (row["facts"]["began_ms"] for row in await _rows(connection, select(notices).where(mine))), default=None
    )


async def told_with_others(connection: AsyncConnection, farm_id: int) -> list[Record]:
    """Notices that are still to be told, of rooms that are told with the whole site: first texts, and ends."""
    n, h = notices.c, happenings.c
    statement = (
        select(notices)
        .join(happenings, and_(h.farm_id == n.farm_id, h.happening_id == n.happening_id))
        .where(n.farm_id == farm_id, n.addressed == 0, h.part_of.is_not(None), n.kind.in_(("trouble", *_ENDS)))
        .order_by(n.decided_ms, n.notice_key)
    )
    return await _rows(connection, statement)


async def take_untold(connection: AsyncConnection, farm_id: int, notice_keys: Collection[str]) -> set[str]:
    """Finish these notices; return those that were not finished already, or taken up by somebody else."""
    n = notices.c
    mine = (n.farm_id == farm_id) & n.notice_key.in_(list(notice_keys)) & (n.addressed == 0)
    found = await connection.scalars(select(n.notice_key).where(mine).with_for_update(skip_locked=True))
    taken = set(found)
    await connection.execute(
        update(notices).where(n.farm_id == farm_id, n.notice_key.in_(taken)).values(addressed=1)
    )
    return taken


async def make_part(connection: AsyncConnection, farm_id: int, happening_ids: Collection[str], *, of: str) -> None:
    """From now on these happenings are told with another."""
    h = happenings.c
    mine = (h.farm_id == farm_id) & h.happening_id.in_(list(happening_ids))
    await connection.execute(update(happenings).where(mine).values(part_of=of))


async def newest_values(
    connection: AsyncConnection, farm_id: int, quantities: Sequence[Quantity], *, from_ms: Instant, to_ms: Instant
) -> dict[Quantity, list[float]]:
    """The newest value of every probe that measures one of these, if it is newer than ``from_ms``."""
    s, r, other = series.c, readings.c, readings.alias().c
    within = (other.at_ms >= from_ms) & (other.at_ms <= to_ms)
    mine = (other.farm_id == s.farm_id) & (other.series_id == s.series_id)
    newest_ms = select(func.max(other.at_ms)).where(mine, within).correlate(series).scalar_subquery()
    statement = (
        select(s.quantity, r.value)
        .select_from(series)
        .join(readings, and_(r.farm_id == s.farm_id, r.series_id == s.series_id))
        .where(s.farm_id == farm_id, s.quantity.in_([q.value for q in quantities]), r.at_ms == newest_ms)
    )
    found: dict[Quantity, list[float]] = {}
    for quantity, value in await connection.execute(statement):
        found.setdefault(Quantity(quantity), []).append(value)
    return found


async def _rows(connection: AsyncConnection, statement: Select[Any]) -> list[Record]:
    return [{**row, "facts": json.loads(row["facts"])} for row in await many(connection, statement)]
