"""What is sent regularly, and what became of it: one row for each kind, person and day of the farm's calendar.

A row is taken before anything goes out, and by one worker only; so a second tick, a second process or a clock set
back sends nothing twice.
"""

from __future__ import annotations

from typing import Final

from sqlalchemy import select, update

from rules.model import Instant
from service.storage.database import Connection
from service.storage.insert import insert_into
from service.storage.rows import Record, many
from service.storage.tables import sent_digests

WAITING, SENT, GAVE_UP = "waiting", "sent", "gave up"
ROUND: Final = "@round"
"""Instead of a person: when a round of sending was begun. Whoever comes to the farm later is not in it."""


async def digest_rows(connection: Connection, farm_id: int, kind: str, local_date: str) -> dict[str, Record]:
    """What became of one day's digest, by person."""
    d = sent_digests.c
    mine = (d.farm_id == farm_id) & (d.kind == kind) & (d.local_date == local_date)
    return {row["person_id"]: row for row in await many(connection, select(sent_digests).where(mine))}


async def begin_round(connection: Connection, farm_id: int, kind: str, local_date: str, now_ms: Instant) -> None:
    """Write down that a round of sending begins; the first time counts."""
    row = {"kind": kind, "person_id": ROUND, "local_date": local_date, "at_ms": now_ms, "state": SENT}
    counts = {"attempts": 0, "next_ms": now_ms, "detail": "", "farm_id": farm_id}
    await connection.execute(
        insert_into(connection, sent_digests).values({**row, **counts}).on_conflict_do_nothing()
    )


async def claim_digest(connection: Connection, farm_id: int, values: Record) -> bool:
    """Take the next try of a digest for this worker; false when another has it, or nothing waits any more."""
    d = sent_digests.c
    row = {**values, "farm_id": farm_id}
    if values["attempts"] == 1:
        statement = insert_into(connection, sent_digests).values(row).on_conflict_do_nothing()
        return (await connection.execute(statement.returning(d.person_id))).first() is not None
    mine = (
        (d.farm_id == farm_id)
        & (d.kind == values["kind"])
        & (d.person_id == values["person_id"])
        & (d.local_date == values["local_date"])
    )
    before = (d.attempts == values["attempts"] - 1) & (d.state == WAITING)
    taken = {name: values[name] for name in ("attempts", "next_ms")}
    statement = update(sent_digests).where(mine, before).values(taken).returning(d.person_id)
    return (await connection.execute(statement)).first() is not None


async def save_digest(connection: Connection, farm_id: int, values: Record) -> None:
    """Write what became of a digest."""
    statement = insert_into(connection, sent_digests).values({**values, "farm_id": farm_id})
    changed = {name: values[name] for name in ("at_ms", "state", "attempts", "next_ms", "detail")}
    key = ["farm_id", "kind", "person_id", "local_date"]
    await connection.execute(statement.on_conflict_do_update(index_elements=key, set_=changed))
