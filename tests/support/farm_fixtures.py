"""Fixtures with the invented farm on a database, for the tests of reports and pages."""

from __future__ import annotations

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from service.storage.database import Database
from tests.support import farmyard
from tests.support.databases import sqlite_database


@pytest.fixture
async def database(tmp_path: Path) -> AsyncIterator[Database]:
    """Empty but for its tables; ``farm`` settles it."""
    async with sqlite_database(tmp_path) as opened:
        yield opened


@pytest.fixture(scope="session")
def dry_night_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return farmyard.write_dry_night(tmp_path_factory.mktemp("farmyard"))


@pytest.fixture
async def dry_night(dry_night_file: Path, tmp_path: Path) -> AsyncIterator[Database]:
    """The farm after its dry night, a copy for this test alone."""
    folder = tmp_path / "copy"
    folder.mkdir()
    async with farmyard.open_copy(dry_night_file, folder) as opened:
        yield opened


@pytest.fixture
async def farm(request: pytest.FixtureRequest) -> dict[str, Any]:
    """The farm's row, in whichever database the test uses."""
    if "dry_night" in request.fixturenames:
        return await farmyard.the_farm(request.getfixturevalue("dry_night"))
    return await farmyard.settle(request.getfixturevalue("database"))
