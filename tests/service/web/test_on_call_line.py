"""The round sheet names who is on call now, whoever has the turn among them."""

from __future__ import annotations

from typing import Any

import httpx

from service.storage.database import Database
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.page_server import application
from tests.support.page_words import words
from tests.support.rotas import lines, turn


async def test_the_round_sheet_names_whoever_has_the_turn(database: Database, farm: dict[str, Any]) -> None:
    await turn(database, "ben", "2026-11-23T06:00", 1440, "FREQ=DAILY")
    await lines(database, ("rota:nights", 0), ("maria", 10), daypart="day")
    transport = httpx.ASGITransport(app=application(farmyard.desk(database, farm, HandClock(farmyard.NOW_MS))))
    async with httpx.AsyncClient(transport=transport, base_url="http://farm.local") as client:
        said = words(await client.get("/"))
    assert "on call: Ben, then Maria" in said
