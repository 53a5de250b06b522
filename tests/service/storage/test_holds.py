"""Holds are kept as they were said, and found by room and time. The rules are the project's own."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import Quantity, Side
from service.errors import NotFound
from service.storage.database import Database
from service.storage.holds import LEAVE, WORKING, HoldRow, add_hold, all_holds, end_hold, hold, holds_of


def _hold(hold_id: str, **changes: Any) -> HoldRow:
    usual: dict[str, Any] = {
        "hold_id": hold_id,
        "kind": WORKING,
        "room_id": "h1",
        "quantity": None,
        "side": None,
        "person_id": "ana",
        "from_ms": 100,
        "until_ms": 200,
        "ended_ms": None,
        "ended_by": None,
        "why": "",
        "recorded_ms": 100,
        "who": "Ana",
    }
    return HoldRow(**{**usual, **changes})


HUMIDITY = _hold(
    "b", kind=LEAVE, quantity=Quantity.HUMIDITY, side=Side.LOW, person_id=None, from_ms=150, why="mist"
)


async def test_a_hold_comes_back_as_it_was_written(database: Database) -> None:
    async with database.write() as connection:
        await add_hold(connection, 1, HUMIDITY)
        assert await hold(connection, 1, "b") == HUMIDITY
        with pytest.raises(NotFound, match="nothing is or was held back"):
            await hold(connection, 2, "b")


async def test_a_room_s_holds_are_its_own_and_those_of_all_rooms_oldest_first(database: Database) -> None:
    here, everywhere, elsewhere = _hold("a"), _hold("c", room_id=None, from_ms=50), _hold("d", room_id="h2")
    async with database.write() as connection:
        for row in (HUMIDITY, here, everywhere, elsewhere):
            await add_hold(connection, 1, row)
        assert await holds_of(connection, 1, "h1") == [everywhere, here, HUMIDITY]
        assert await holds_of(connection, 1, "h2") == [everywhere, elsewhere]
        assert await all_holds(connection, 1) == [everywhere, here, elsewhere, HUMIDITY]
        assert await holds_of(connection, 2, "h1") == []


async def test_holds_that_ended_by_a_moment_are_left_out_whichever_way_they_ended(database: Database) -> None:
    async with database.write() as connection:
        await add_hold(connection, 1, _hold("a"))
        await add_hold(connection, 1, _hold("b", until_ms=300, ended_ms=180, ended_by="Ana"))
        found = {
            at: [h.hold_id for h in await holds_of(connection, 1, "h1", from_ms=at)] for at in (179, 180, 200)
        }
    assert found == {179: ["a", "b"], 180: ["a"], 200: []}


async def test_a_hold_ends_once(database: Database) -> None:
    async with database.write() as connection:
        await add_hold(connection, 1, _hold("a"))
        await end_hold(connection, 1, "a", 150, who="Ana")
        await end_hold(connection, 1, "a", 160, who="Ben")
        found = await hold(connection, 1, "a")
    assert (found.ended_ms, found.ended_by, found.end_ms, found.until_ms) == (150, "Ana", 150, 200)
    assert [found.is_on(at) for at in (99, 100, 149, 150)] == [False, True, True, False]


def test_a_hold_never_lasts_longer_than_it_was_said_to() -> None:
    assert _hold("a", ended_ms=900).end_ms == 200
