"""What a text says that is written some time after its notice: how it is by then. Words are tested elsewhere."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import MINUTE_MS
from service.notifications.writing import Writing
from service.storage.database import Connection, Database
from tests.support.farmyard import NOW_MS, settle

TOLD: dict[str, Any] = {
    "room": "House 7",
    "quantity": "humidity",
    "side": "low",
    "began_ms": NOW_MS - 9 * MINUTE_MS,
    "at_ms": NOW_MS,
    "invented": False,
    "zone": "America/New_York",
    "species": "shiitake",
    "stage": "pins",
    "stage_day": 3,
    "value": 78.0,
    "limit": 85.0,
    "far": False,
    "minutes": 9,
    "trend": "falling",
    "place": None,
    "normal": [],
    "first_check": "humidifier",
    "batch": "b",
    "learned_late": False,
    "deep": False,
}
DRIER = {**TOLD, "value": 71.0}
SAME = {**TOLD, "value": 78.4}
STUFFY = {**TOLD, "quantity": "co2", "side": "high", "value": 2200.0, "limit": 1500.0, "trend": "rising"}


async def written_later(database: Database, *open_now: dict[str, Any]) -> str:
    farm = await settle(database)

    async def now_in(_connection: Connection, room_id: str) -> list[dict[str, Any]]:
        assert room_id == "house-7"
        return list(open_now)

    row = {
        "delivery_id": "d-1",
        "notice_key": "n-1",
        "kind": "trouble",
        "room_id": "house-7",
        "happening_id": None,
        "person_id": "maria",
        "way": "text",
        "at_ms": NOW_MS,
        "added_ms": NOW_MS + 10 * MINUTE_MS,
        "text": None,
        "facts": TOLD,
    }
    async with database.write() as connection:
        message = await Writing(farm=farm, now_in=now_in).message(connection, row, NOW_MS + 10 * MINUTE_MS)
    assert message is not None
    return message.text


@pytest.mark.parametrize(("now", "said"), [(DRIER, "humidity 71%"), (SAME, "humidity 78%")])
async def test_the_value_is_that_of_then(database: Database, now: dict[str, Any], said: str) -> None:
    assert said in await written_later(database, now)


async def test_it_falls_only_if_it_fell_since_the_first_were_told(database: Database) -> None:
    assert "falling" in await written_later(database, DRIER)


async def test_what_stopped_falling_is_not_told_as_falling(database: Database) -> None:
    assert "falling" not in await written_later(database, SAME)


async def test_what_is_over_gives_way_to_what_is_still_open_there(database: Database) -> None:
    text = await written_later(database, STUFFY)
    assert "CO2 2200 ppm, over limit 1500 ppm" in text
    assert "humidity 78%" not in text


async def test_both_open_are_told_by_the_one_it_was_about(database: Database) -> None:
    assert "humidity 71%" in await written_later(database, STUFFY, DRIER)
