"""What is read for the sheet and for the page of a night: readings with their lateness, tellings, answers."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from sqlalchemy import and_, func, select

from rules.model import Instant, ProbeId, Quantity, Reading
from service.storage.database import Connection
from service.storage.readings import numbers_of
from service.storage.rows import Record, many
from service.storage.tables import (
    alarms,
    answers,
    deliveries,
    happenings,
    notices,
    people,
    readings,
    rejected,
    series,
)

DIRECT: Final = "direct"
"""How notices are told that are for one person only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A reading, and when it came in by our clock."""

    reading: Reading
    received_ms: Instant


async def heard_in(
    connection: Connection,
    farm_id: int,
    probe_ids: Iterable[str],
    quantities: Iterable[Quantity],
    *,
    from_ms: Instant,
    to_ms: Instant,
) -> list[Heard]:
    """Readings measured from ``from_ms`` (inclusive) to ``to_ms`` (exclusive), oldest first."""
    s, r = series.c, readings.c
    statement = (
        select(s.probe_id, s.quantity, r.at_ms, r.value, r.late_ms)
        .join(readings, and_(r.farm_id == s.farm_id, r.series_id == s.series_id))
        .where(
            r.farm_id == farm_id,
            r.series_id.in_(numbers_of(farm_id, probe_ids, quantities)),
            r.at_ms >= from_ms,
            r.at_ms < to_ms,
        )
        .order_by(r.at_ms, s.probe_id, s.quantity)
    )
    return [
        Heard(
            reading=Reading(probe=ProbeId(p), quantity=Quantity(q), at_ms=at, value=value),
            received_ms=at + late,
        )
        for p, q, at, value, late in (await connection.execute(statement)).all()
    ]


async def open_alarms(connection: Connection, farm_id: int) -> list[Record]:
    """Every alarm that is not simply normal, of all rooms, with its happening's beginning."""
    h = happenings.c
    same = (h.farm_id == alarms.c.farm_id) & (h.happening_id == alarms.c.happening_id)
    statement = (
        select(alarms, h.began_ms, h.ended_ms)
        .outerjoin(happenings, same)
        .where(alarms.c.farm_id == farm_id)
        .order_by(alarms.c.room_id, alarms.c.since_ms)
    )
    return await many(connection, statement)


async def tellings_between(
    connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant
) -> list[Record]:
    """Every telling of a notice about this span, with its notice and the person's name; oldest first.

    What is for one person only (tests, replies, the morning's text) is not in it.
    """
    d, n, p = deliveries.c, notices.c, people.c
    statement = (
        select(deliveries, n.kind, n.room_id, n.happening_id, n.at_ms, n.facts, p.name)
        .join(notices, (n.farm_id == d.farm_id) & (n.notice_key == d.notice_key))
        .outerjoin(people, (p.farm_id == d.farm_id) & (p.person_id == d.person_id))
        .where(d.farm_id == farm_id, n.at_ms >= from_ms, n.at_ms < to_ms, n.telling != DIRECT)
        .order_by(n.at_ms, d.step, d.person_id)
    )
    return [{**row, "facts": json.loads(row["facts"])} for row in await many(connection, statement)]


async def went_on(connection: Connection, farm_id: int, *, at_ms: Instant) -> dict[str, Instant]:
    """When each happening began that had begun and was not over at a moment."""
    h = happenings.c
    statement = select(h.happening_id, h.began_ms).where(
        h.farm_id == farm_id, h.began_ms < at_ms, h.ended_ms.is_(None) | (h.ended_ms >= at_ms)
    )
    return {row["happening_id"]: row["began_ms"] for row in await many(connection, statement)}


async def answers_between(
    connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant
) -> list[Record]:
    """What people answered in this span, or about a happening still open, with room and name; oldest first."""
    a, h, p = answers.c, happenings.c, people.c
    inside = and_(a.at_ms >= from_ms, a.at_ms < to_ms)
    statement = (
        select(answers, h.room_id, p.name)
        .join(happenings, (h.farm_id == a.farm_id) & (h.happening_id == a.happening_id))
        .outerjoin(people, (p.farm_id == a.farm_id) & (p.person_id == a.person_id))
        .where(a.farm_id == farm_id, inside | (h.ended_ms.is_(None) & (a.at_ms < to_ms)))
        .order_by(a.at_ms, a.person_id)
    )
    return await many(connection, statement)


async def rejected_counts(
    connection: Connection, farm_id: int, *, from_ms: Instant, to_ms: Instant
) -> list[Record]:
    """How many messages of this span were not understood, by probe and reason; most first."""
    r = rejected.c
    count = func.count().label("count")
    statement = (
        select(r.probe_id, r.reason, count)
        .where(r.farm_id == farm_id, r.received_ms >= from_ms, r.received_ms < to_ms)
        .group_by(r.probe_id, r.reason)
        .order_by(count.desc(), r.reason)
    )
    return await many(connection, statement)
