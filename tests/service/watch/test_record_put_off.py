"""A database that cannot take anything just now: that is said, nothing is written, and it works later."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from service.errors import PassingError
from service.storage.database import Database
from service.watch.record import record
from tests.support.databases import FILE, sqlite_database, sqlite_url
from tests.support.farmyard import add_farm
from tests.support.mail_bag import FARM_ID, timed, untimed
from tests.support.written import tally, written


async def test_while_another_process_writes_nothing_is_written_and_that_is_said(tmp_path: Path) -> None:
    async with sqlite_database(tmp_path) as ready:
        await add_farm(ready)
    hasty = Database(sqlite_url(tmp_path), busy_timeout_ms=20)
    other = sqlite3.connect(tmp_path / FILE, isolation_level=None)
    batch = [timed(91.4), untimed(92.0)]
    try:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(PassingError):
            await record(hasty, FARM_ID, batch)
        other.execute("ROLLBACK")
        assert await written(hasty, "readings") == []
        assert (await record(hasty, FARM_ID, batch)).stored == 2
        assert await tally(hasty, "messages") == 2
    finally:
        other.close()
        await hasty.close()
