"""The farm's row at the first start and at every later one."""

from __future__ import annotations

from service.app.farm_row import farm_row
from service.storage.database import Database

AT_MS = 1_795_600_000_000


async def test_the_first_start_knows_every_column_that_the_next_start_knows(database: Database) -> None:
    """Limits for people are asked of the row at once, on a farm that has just been made."""
    first = await farm_row(database, "alder-creek", AT_MS)
    assert first == await farm_row(database, "alder-creek", AT_MS + 1000)
    assert first["people_8h_ppm"] is None
    assert first["name"] == "alder-creek"
