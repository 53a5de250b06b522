"""SQLite finds the few rows asked for every second among those of years, whatever a farm's tables hold."""

from __future__ import annotations

from typing import Final

import pytest
from sqlalchemy import text

from service.storage.database import Database
from service.storage.tables import metadata

HOT: Final = {
    "claims": "SELECT * FROM deliveries WHERE farm_id = 1 AND state = 'waiting' AND next_ms <= 5",
    "notices to tell": "SELECT * FROM notices WHERE farm_id = 1 AND addressed = 0 ORDER BY decided_ms",
    "tellings of a happening": (
        "SELECT d.* FROM deliveries d JOIN notices n ON n.farm_id = d.farm_id AND n.notice_key = d.notice_key "
        "WHERE d.farm_id = 1 AND n.happening_id = 'x'"
    ),
    "an hour's texts": "SELECT * FROM deliveries WHERE farm_id = 1 AND person_id = 'maria' AND added_ms > 5",
    "open happenings": "SELECT * FROM happenings WHERE farm_id = 1 AND (ended_ms IS NULL OR closed_ms IS NULL)",
    "parts": "SELECT * FROM happenings WHERE farm_id = 1 AND part_of = 'x'",
    "answers of late": "SELECT * FROM answers WHERE farm_id = 1 AND at_ms >= 5",
}


@pytest.mark.parametrize("asked", HOT)
async def test_no_table_is_read_through_for_a_few_rows(database: Database, asked: str) -> None:
    if not database.is_sqlite:
        return
    async with database.read() as connection:
        plan = [str(row[3]) for row in await connection.execute(text(f"EXPLAIN QUERY PLAN {HOT[asked]}"))]
    assert not [step for step in plan if step.startswith("SCAN") or step.endswith("(farm_id=?)")]


async def test_the_figures_are_there_for_every_key_that_begins_with_the_farm(database: Database) -> None:
    if not database.is_sqlite:
        return
    async with database.read() as connection:
        rows = await connection.execute(text("SELECT idx, stat FROM sqlite_stat1"))
        figures = {str(row[0]): str(row[1]) for row in rows}
    assert set(metadata.tables) <= set(figures)
    assert figures["readings"] == "1000000 1000000 100 1"
    assert figures["ix_deliveries_farm_id_state"] == "1000000 1000000 100"
