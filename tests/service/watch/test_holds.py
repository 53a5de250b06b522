"""What is held back is judged, and told when the hold ends if it is still so.

House 7 is told below 85 %RH after 8 minutes (``tests.support.watched``). The rules are the project's own; that a
suppressed alarm is judged afresh at the end is ISA-18.2's "return from suppressed by design", from memory.
"""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import Quantity, Side
from service.storage.database import Database
from service.watch.holds import Holding, Left
from tests.support.watched import DRY, GOOD, ROOM, hear, judge_at, minute, watched_farm
from tests.support.written import notices

STILL_DRY = [*[GOOD] * 5, *[DRY] * 115]
"""Below the limit from minute 5 on."""


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


async def _working(database: Database, *, at: float, until: float, room_id: str | None = ROOM) -> None:
    async with database.write() as connection:
        holding = Holding(connection=connection, farm_id=1, now_ms=minute(at))
        await holding.working(room_id, "maria", minute(until))


async def _out(database: Database, *, at: float) -> None:
    async with database.write() as connection:
        await Holding(connection=connection, farm_id=1, now_ms=minute(at)).out("maria")


async def _leave(database: Database, *, at: float, until: float, **which: Any) -> None:
    async with database.write() as connection:
        left = Left(**which, until_ms=minute(until), why="nozzle on order", who="Ben")
        await Holding(connection=connection, farm_id=1, now_ms=minute(at)).leave(ROOM, left)


async def _told(database: Database) -> list[tuple[str, str, float]]:
    """Notices as (kind, telling, minute)."""
    return [(n["kind"], n["telling"], (n["at_ms"] - minute(0)) / 60_000) for n in await notices(database)]


async def _go_on(database: Database, farm: dict[str, Any], *, to: int, start: int = 1) -> None:
    await judge_at(database, farm, *range(start, to, 4), to)


@pytest.mark.parametrize("room_id", [ROOM, None])
async def test_working_holds_a_text_and_it_is_told_at_its_end_if_still_outside(
    database: Database, farm: dict[str, Any], room_id: str | None
) -> None:
    await hear(database, STILL_DRY)
    await _working(database, at=0, until=40, room_id=room_id)
    await _go_on(database, farm, to=40)
    assert await _told(database) == [("held", "round", 13)]
    await _go_on(database, farm, start=41, to=50)
    assert await _told(database) == [("held", "round", 13), ("trouble", "wake", 40)]


async def test_out_ends_it_before_and_then_it_is_told(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, STILL_DRY)
    await _working(database, at=0, until=60)
    await _go_on(database, farm, to=20)
    await _out(database, at=20)
    await _go_on(database, farm, start=21, to=30)
    assert await _told(database) == [("held", "round", 13), ("trouble", "wake", 20)]


async def test_nothing_is_told_at_the_end_if_it_is_well_again_by_then(
    database: Database, farm: dict[str, Any]
) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 20, *[GOOD] * 95])
    await _working(database, at=0, until=40)
    await _go_on(database, farm, to=60)
    assert [row for row in await _told(database) if row[1] == "wake"] == []


async def test_time_outside_meanwhile_counts_towards_the_wait(database: Database, farm: dict[str, Any]) -> None:
    """Dry from minute 5, out at minute 10: the wait of 8 minutes is over at 13, not at 18."""
    await hear(database, STILL_DRY)
    await _working(database, at=0, until=10)
    await _go_on(database, farm, to=30)
    assert await _told(database) == [("trouble", "wake", 13)]


async def test_work_that_begins_when_the_text_went_out_does_not_call_it_back(
    database: Database, farm: dict[str, Any]
) -> None:
    await hear(database, STILL_DRY)
    await _go_on(database, farm, to=20)
    assert await _told(database) == [("trouble", "wake", 13)]
    await _working(database, at=20, until=40)
    await _go_on(database, farm, start=21, to=39)
    assert [row for row in await _told(database) if row[1] == "wake"] == [("trouble", "wake", 13)]


@pytest.mark.parametrize("which", [{}, {"quantity": Quantity.HUMIDITY, "side": Side.LOW}])
async def test_what_is_left_until_a_time_is_told_then_if_still_outside(
    database: Database, farm: dict[str, Any], which: dict[str, Any]
) -> None:
    await hear(database, STILL_DRY)
    await _leave(database, at=0, until=60, **which)
    await _go_on(database, farm, to=59)
    assert await _told(database) == [("held", "round", 13)]
    await _go_on(database, farm, start=60, to=70)
    assert await _told(database) == [("held", "round", 13), ("trouble", "wake", 60)]


@pytest.mark.parametrize(
    "which",
    [
        {"quantity": Quantity.HUMIDITY, "side": Side.HIGH},
        {"quantity": Quantity.TEMPERATURE, "side": Side.LOW},
    ],
)
async def test_a_limit_that_is_not_left_speaks(
    database: Database, farm: dict[str, Any], which: dict[str, Any]
) -> None:
    await hear(database, STILL_DRY)
    await _leave(database, at=0, until=60, **which)
    await _go_on(database, farm, to=20)
    assert await _told(database) == [("trouble", "wake", 13)]


async def test_working_longer_before_it_ends_leaves_no_gap_to_speak_in(
    database: Database, farm: dict[str, Any]
) -> None:
    await hear(database, STILL_DRY)
    await _working(database, at=0, until=20)
    await _go_on(database, farm, to=15)
    await _working(database, at=15, until=50)
    await _go_on(database, farm, start=16, to=49)
    assert await _told(database) == [("held", "round", 13)]
    await _go_on(database, farm, start=50, to=60)
    assert await _told(database) == [("held", "round", 13), ("trouble", "wake", 50)]


async def test_judged_all_at_once_afterwards_gives_the_same(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, STILL_DRY)
    await _working(database, at=0, until=40)
    await judge_at(database, farm, 60)
    assert await _told(database) == [("held", "round", 13), ("trouble", "wake", 40)]


async def test_limits_for_people_are_not_held_whoever_works_and_whatever_is_left(
    database: Database, farm: dict[str, Any]
) -> None:
    """40 000 ppm of CO2 is over the 15-minute figure of 30 000 (NIOSH pocket guide, ACGIH; from memory)."""
    await _working(database, at=0, until=120)
    await _leave(database, at=0, until=120)
    await hear(database, [40_000.0] * 40, quantity=Quantity.CO2)
    await _go_on(database, farm, to=40)
    found = await notices(database)
    people = [n for n in found if n["notice_key"].split("/")[2] == Side.PEOPLE]
    assert {n["telling"] for n in people} == {"danger"}
    assert {n["telling"] for n in found if n not in people} <= {"round"}
