"""An invented farm with the API in front of it."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any, TypeAlias

import pytest

from service.storage.database import Database
from tests.support import farmyard
from tests.support.api import Api, open_api
from tests.support.clock import HandClock
from tests.support.databases import sqlite_database, sqlite_url

Settled: TypeAlias = tuple[Path, dict[str, Any]]


@pytest.fixture
async def api(database: Database) -> AsyncIterator[Api]:
    """The API over a farm that is set up, once on each database."""
    farm = await farmyard.settle(database)
    async with open_api(database, farm, HandClock(farmyard.NOW_MS)) as opened:
        yield opened


@pytest.fixture(scope="session")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Settled:
    """A database file with the farm set up, to be copied: many times quicker than setting it up again."""
    folder = tmp_path_factory.mktemp("settled")

    async def make() -> dict[str, Any]:
        async with sqlite_database(folder) as database:
            return await farmyard.settle(database)

    return folder / "houseband.db", asyncio.run(make())


@pytest.fixture
async def one_api(settled: Settled, tmp_path: Path) -> AsyncIterator[Api]:
    """The same on SQLite only, for what does not depend on the database; its file is ``tmp_path/houseband.db``."""
    file, farm = settled
    shutil.copy(file, tmp_path / file.name)
    database = Database(sqlite_url(tmp_path))
    try:
        async with open_api(database, dict(farm), HandClock(farmyard.NOW_MS)) as opened:
            yield opened
    finally:
        await database.close()
