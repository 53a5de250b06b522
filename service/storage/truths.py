"""What a happening turned out to be: asked of people once, every answer kept."""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum

from sqlalchemy import func, select

from rules.model import Instant
from service.errors import NotFound
from service.storage.database import Connection
from service.storage.rows import Record, many
from service.storage.tables import happenings, truths


class What(StrEnum):
    """What it was."""

    GEAR = "gear"
    DOOR = "door"
    WORK = "work"
    PROBE = "probe"
    NOTHING = "nothing found"


class Harm(StrEnum):
    """What the crop shows of it."""

    NONE = "none"
    SOME = "some"
    MUCH = "much"


async def add_truth(
    connection: Connection,
    farm_id: int,
    happening_id: str,
    *,
    what: What | None,
    harm: Harm | None,
    who: str,
    now_ms: Instant,
) -> Record:
    """Keep what somebody says of a happening; what is left out stays as it was said before.

    The caller's transaction must be the only one that does this, or two answers of one moment may meet.

    Returns:
        What is kept now.

    Raises:
        NotFound: there is no such happening.
    """
    h = happenings.c
    mine = (h.farm_id == farm_id) & (h.happening_id == happening_id)
    if await connection.scalar(select(func.count()).select_from(happenings).where(mine)) == 0:
        raise NotFound(f"there is no happening {happening_id!r}")
    *_, before = [None, *await truths_of(connection, farm_id, {happening_id})]
    row = {
        "happening_id": happening_id,
        "recorded_ms": now_ms if before is None else max(now_ms, before["recorded_ms"] + 1),
        "what": what.value if what is not None else "" if before is None else before["what"],
        "harm": harm.value if harm is not None else "" if before is None else before["harm"],
        "who": who,
    }
    await connection.execute(truths.insert().values({**row, "farm_id": farm_id}))
    return row


async def truths_of(connection: Connection, farm_id: int, happening_ids: Collection[str]) -> list[Record]:
    """Everything that was said of these happenings, oldest first."""
    t = truths.c
    statement = select(truths).where(t.farm_id == farm_id, t.happening_id.in_(list(happening_ids)))
    return await many(connection, statement.order_by(t.recorded_ms, t.happening_id))


async def newest_truths(connection: Connection, farm_id: int, happening_ids: Collection[str]) -> dict[str, Record]:
    """What was said last of each of these happenings."""
    return {row["happening_id"]: row for row in await truths_of(connection, farm_id, happening_ids)}
