"""A room's page says who works there, and what is left until when."""

from __future__ import annotations

from typing import Any

import httpx

from rules.model import HOUR_MS, MINUTE_MS, Instant, Quantity, Side
from service.storage.database import Database
from service.watch.holds import Holding, Left
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.page_server import application
from tests.support.page_words import words


async def _page(database: Database, farm: dict[str, Any], room_id: str, at_ms: Instant) -> str:
    transport = httpx.ASGITransport(app=application(farmyard.desk(database, farm, HandClock(at_ms))))
    async with httpx.AsyncClient(transport=transport, base_url="http://farm.local") as client:
        return words(await client.get(f"/rooms/{room_id}"))


async def test_a_room_s_page_says_who_works_there_and_what_is_left(
    database: Database, farm: dict[str, Any]
) -> None:
    out_ms = farmyard.NOW_MS + 170 * MINUTE_MS
    left = Left(
        quantity=Quantity.HUMIDITY, side=Side.LOW, until_ms=out_ms + HOUR_MS, why="nozzle on order", who="Ben"
    )
    async with database.write() as connection:
        holding = Holding(connection=connection, farm_id=farm["farm_id"], now_ms=farmyard.NOW_MS)
        await holding.working("house-7", "maria", out_ms)
        await holding.leave("house-7", left)

    said = await _page(database, farm, "house-7", farmyard.NOW_MS)
    assert "Working until 10:00 (Maria)" in said
    assert "Humidity low: leave until 11:00 (Ben): nozzle on order" in said
    assert "leave until" not in await _page(database, farm, "house-3", farmyard.NOW_MS)
    later = await _page(database, farm, "house-7", out_ms)
    assert "Working until" not in later
    assert "leave until 11:00" in later
