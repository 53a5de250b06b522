from __future__ import annotations

from typing import Any

import pytest

from rules.model import MINUTE_MS
from service.reports.last_hours import Picture, last_hours
from service.storage.database import Database
from tests.support import farmyard

FACTS: dict[str, Any] = {"quantity": "humidity", "side": "low", "limit": 85.0}
AT_MS = farmyard.DRY_FROM_MS + 30 * MINUTE_MS


async def drawn(
    database: Database, farm: dict[str, Any], *, now_ms: int = AT_MS, room: str = "house-7", **facts: Any
) -> Picture | None:
    async with database.read() as connection:
        return await last_hours(
            connection, farm, room, {**FACTS, **facts}, now_ms=now_ms, units="metric", language="en"
        )


async def test_the_picture_says_what_it_shows(dry_night: Database, farm: dict[str, Any]) -> None:
    """97 falls by 1 a minute from 02:00 and stays at 78 from 02:19 on."""
    picture = await drawn(dry_night, farm)
    assert picture is not None
    assert picture.png.startswith(b"\x89PNG")
    assert picture.alt.startswith("Humidity: lowest 78%, highest 9")


@pytest.mark.parametrize("side", ["low", "high", "people"])
async def test_a_limit_may_be_on_either_side_or_not_known(
    dry_night: Database, farm: dict[str, Any], side: str
) -> None:
    with_limit, without = await drawn(dry_night, farm, side=side), await drawn(dry_night, farm, limit=None)
    assert with_limit is not None
    assert without is not None
    assert with_limit.png != without.png


@pytest.mark.parametrize(
    "given", [{"quantity": "door"}, {"quantity": "block_core"}, {"room": "nowhere"}, {"now_ms": 10**9}]
)
async def test_nothing_measured_is_no_picture(
    dry_night: Database, farm: dict[str, Any], given: dict[str, Any]
) -> None:
    assert await drawn(dry_night, farm, **given) is None
