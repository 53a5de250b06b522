"""Drying power and dew point on a room's page, over HTTP on a real database."""

from __future__ import annotations

import html
from typing import Any

import httpx

from service.storage.database import Database
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.page_server import application


async def room_page(database: Database, farm: dict[str, Any], room: str) -> str:
    transport = httpx.ASGITransport(app=application(farmyard.desk(database, farm, HandClock(farmyard.NOW_MS))))
    async with httpx.AsyncClient(transport=transport, base_url="http://farm.local") as client:
        answer = await client.get(f"/rooms/{room}")
    assert answer.status_code == 200
    return html.unescape(answer.text)


async def test_a_room_page_shows_drying_power_with_its_band_and_the_dew_point(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    """15.5 degC, 97 %RH: 3 % of 1.761 kPa (PsychroLib 2.5), give or take 2 points; dew point 59 degF."""
    page = await room_page(dry_night, farm, "house-7")

    assert "Drying power 0.05 kPa at door end (0.02 to 0.09 with the probe's error). Dew point 59 °F." in page
    assert page.index("<h2>Now</h2>") < page.index("Drying power") < page.index("<h2>Who is going</h2>")


async def test_a_room_with_one_place_does_not_name_it(dry_night: Database, farm: dict[str, Any]) -> None:
    """15 degC, 90 %RH: a tenth of 1.705 kPa, give or take a fifth of it (2 points) and 3 % (half a kelvin)."""
    page = await room_page(dry_night, farm, "house-3")

    assert "Drying power 0.17 kPa (0.14 to 0.21 with the probe's error)." in page


async def test_a_room_of_which_nothing_is_heard_shows_neither(database: Database, farm: dict[str, Any]) -> None:
    assert "Drying power" not in await room_page(database, farm, "house-7")
