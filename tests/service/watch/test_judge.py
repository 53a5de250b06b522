"""From readings on the disk to what is told, on both databases."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest

from rules.model import MINUTE_MS, Quantity
from service.storage import rooms
from service.storage.database import Database
from tests.support.watched import (
    BACK,
    DRY,
    DRY_HALF_HOUR,
    GOOD,
    ROOM,
    VERY_DRY,
    add_batch,
    add_unconfirmed,
    change_stage,
    hear,
    judge_at,
    minute,
    move_batch,
    restart_first_days,
    watched_farm,
)
from tests.support.written import notices, told, written


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


async def moves(database: Database) -> list[tuple[str, float]]:
    """What happened to alarms, and at which minute."""
    rows = sorted(await written(database, "transitions"), key=lambda row: row["at_ms"])
    return [(row["happens"], (row["at_ms"] - minute(0)) / MINUTE_MS) for row in rows]


async def tellings(database: Database) -> list[tuple[str, str, float]]:
    return [
        (row["kind"], row["telling"], (row["at_ms"] - minute(0)) / MINUTE_MS) for row in await notices(database)
    ]


RAISED, AGAIN, DEEPENED, CLEARED = (
    "condition true (after on-delay)",
    "condition true again",
    "far limit passed",
    "condition clears",
)


async def test_humidity_that_falls_is_told_once_with_its_facts(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [GOOD] * 20, probe=BACK)
    await hear(database, [15.5] * 20, quantity=Quantity.TEMPERATURE)
    await hear(database, [*[GOOD] * 5, 84.0, 83.0, 82.0, 81.0, *[DRY] * 11])
    await judge_at(database, farm, *range(1, 20))
    assert await moves(database) == [(RAISED, 13)]
    [happening] = await written(database, "happenings")
    assert (happening["room_id"], happening["began_ms"], happening["ended_ms"]) == (ROOM, minute(13), None)
    [alarm] = await written(database, "alarms")
    assert (alarm["state"], alarm["happening_id"]) == ("unacknowledged", happening["happening_id"])
    [notice] = await notices(database)
    assert (notice["kind"], notice["telling"], notice["addressed"]) == ("trouble", "wake", 0)
    assert minute(13) < notice["decided_ms"] <= minute(14)
    assert json.loads(notice["facts"]) == {
        "room": "House 7",
        "quantity": "humidity",
        "side": "low",
        "began_ms": minute(5),
        "at_ms": minute(13),
        "invented": True,
        "zone": "America/New_York",
        "species": "shiitake",
        "stage": "pins",
        "stage_day": 3,
        "value": 80.0,
        "limit": 85.0,
        "far": False,
        "minutes": 8,
        "trend": "falling",
        "place": "door end",
        "normal": ["temperature"],
        "first_check": json.loads(notice["facts"])["first_check"],
        "batch": "SH-41",
        "learned_late": False,
        "deep": False,
    }
    assert json.loads(notice["facts"])["first_check"]


async def test_back_in_band_is_told_to_whom_it_may_concern(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, *range(1, 40))
    assert await moves(database) == [(RAISED, 13), (CLEARED, 30)]
    assert await tellings(database) == [("trouble", "wake", 13), ("back", "wake", 30)]
    back = (await notices(database))[1]
    facts = json.loads(back["facts"])
    assert (facts["value"], facts["worst"], facts["back_ms"]) == (GOOD, DRY, minute(25))
    assert (facts["minutes"], facts["in_band"]) == (20, True)
    [happening] = await written(database, "happenings")
    assert (happening["ended_ms"], happening["closed_ms"], happening["woke"]) == (minute(30), None, 1)
    [alarm] = await written(database, "alarms")
    assert alarm["state"] == "returned-to-normal unacknowledged"


async def test_trouble_again_before_anybody_answered_is_a_happening_of_its_own(
    database: Database, farm: dict[str, Any]
) -> None:
    await hear(database, [*DRY_HALF_HOUR, *[DRY] * 10])
    await judge_at(database, farm, *range(1, 50))
    assert await moves(database) == [(RAISED, 13), (CLEARED, 30), (AGAIN, 48)]
    assert [row["began_ms"] for row in await written(database, "happenings")] == [minute(13), minute(48)]
    assert (await tellings(database))[2] == ("trouble", "wake", 48)


async def test_the_far_limit_speaks_again_within_one_happening(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 15, *[VERY_DRY] * 10])
    await judge_at(database, farm, *range(1, 31))
    assert await moves(database) == [(RAISED, 13), (DEEPENED, 23)]
    assert await tellings(database) == [("trouble", "wake", 13), ("deeper", "wake", 23)]
    assert len(await written(database, "happenings")) == 1


async def test_another_limit_meanwhile_goes_to_the_round_sheet(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 45])
    await hear(database, [*[15.5] * 10, *[25.0] * 40], quantity=Quantity.TEMPERATURE)
    await judge_at(database, farm, *range(1, 50))
    assert await moves(database) == [(RAISED, 13), (RAISED, 30)]
    assert await tellings(database) == [("trouble", "wake", 13), ("also", "round", 30)]
    assert len(await written(database, "happenings")) == 1


async def test_in_its_first_days_a_room_wakes_nobody(database: Database, farm: dict[str, Any]) -> None:
    await restart_first_days(database)
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, *range(1, 40))
    assert await moves(database) == [(RAISED, 13), (CLEARED, 30)]
    assert await tellings(database) == [("trouble", "round", 13), ("back", "round", 30)]


async def test_what_is_open_when_the_first_days_end_wakes_then(database: Database, farm: dict[str, Any]) -> None:
    await restart_first_days(database)
    await hear(database, [GOOD] * 5 + [80.0] * 60)
    await judge_at(database, farm, *range(1, 20))
    await restart_first_days(database, end=20)
    await judge_at(database, farm, *range(20, 60))
    told = await tellings(database)
    assert [(kind, telling) for kind, telling, _ in told] == [("trouble", "round"), ("trouble", "wake")]
    assert 19 < told[1][2] <= 21


async def test_figures_that_nobody_stands_for_wake_nobody(database: Database, farm: dict[str, Any]) -> None:
    await add_unconfirmed(database)
    await hear(database, [GOOD] * 5 + [60.0] * 60)
    await judge_at(database, farm, *range(1, 65))
    assert len(await moves(database)) >= 1
    assert {telling for _, telling, _ in await tellings(database)} == {"round"}


async def test_another_stage_counts_from_its_moment_and_not_before(
    database: Database, farm: dict[str, Any]
) -> None:
    """Rest bears 80 %RH; pins do not. The wait begins anew with the pins."""
    await change_stage(database, "rest", at=-30)
    await change_stage(database, "pinning", at=20)
    await hear(database, [DRY] * 40)
    await judge_at(database, farm, 40)
    assert await moves(database) == [(RAISED, 28)]
    [notice] = await notices(database)
    assert json.loads(notice["facts"])["stage"] == "pins"


async def test_an_alarm_ends_with_the_stage_that_set_its_limit(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 30])
    await judge_at(database, farm, *range(1, 20))
    await change_stage(database, "soak", at=20)
    await judge_at(database, farm, *range(20, 35))
    assert await moves(database) == [(RAISED, 13), (CLEARED, 20)]
    assert await tellings(database) == [("trouble", "wake", 13), ("back", "round", 20)]


async def test_readings_that_come_in_a_lump_wake_somebody_if_it_still_goes_on(
    database: Database, farm: dict[str, Any]
) -> None:
    await judge_at(database, farm, *range(1, 60, 5))
    await hear(database, [*[GOOD] * 5, *[DRY] * 55], late_ms=60 * MINUTE_MS)
    await judge_at(database, farm, 60, 61)
    assert await moves(database) == [(RAISED, 13)]
    assert await tellings(database) == [("trouble", "wake", 13)]
    [notice] = await notices(database)
    assert (notice["decided_ms"], json.loads(notice["facts"])["learned_late"]) == (minute(60), False)


async def test_what_was_over_before_we_heard_of_it_wakes_nobody(database: Database, farm: dict[str, Any]) -> None:
    await judge_at(database, farm, *range(1, 60, 5))
    await hear(database, [*DRY_HALF_HOUR, *[GOOD] * 20], late_ms=60 * MINUTE_MS)
    await judge_at(database, farm, 60, 61)
    assert {telling for _, telling, _ in await tellings(database)} <= {"round"}


async def test_after_a_long_silence_of_ours_what_began_and_ended_is_learned_late(
    database: Database, farm: dict[str, Any]
) -> None:
    """We were away for an hour, and judge all of it now."""
    await hear(database, [*DRY_HALF_HOUR, *[GOOD] * 20])
    await judge_at(database, farm, 60)
    assert await moves(database) == [(RAISED, 13), (CLEARED, 30)]
    assert await tellings(database) == [("trouble", "round", 13), ("back", "round", 30)]
    assert json.loads((await notices(database))[0]["facts"])["learned_late"] is True


async def test_a_stop_between_record_and_judge_loses_nothing(database: Database, farm: dict[str, Any]) -> None:
    """Another process starts on the same database and knows only what is on the disk."""
    await hear(database, DRY_HALF_HOUR[:14])
    await judge_at(database, farm, 8)
    again = Database(database.url.render_as_string(hide_password=False))
    try:
        await judge_at(again, farm, 14)
    finally:
        await again.close()
    await hear(database, DRY_HALF_HOUR[14:], start=14)
    await judge_at(database, farm, 40)
    assert await moves(database) == [(RAISED, 13), (CLEARED, 30)]


async def test_judging_twice_tells_once(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, 20, 20, 20, 10)
    before = await told(database), await notices(database)
    outcomes = await judge_at(database, farm, 20)
    assert [(o.moved, o.notices) for o in outcomes] == [(0, 0)]
    assert (await told(database), await notices(database)) == before
    assert len(before[1]) == 1


async def test_two_that_judge_at_once_tell_once(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, DRY_HALF_HOUR)
    again = Database(database.url.render_as_string(hide_password=False))
    try:
        outcomes = await asyncio.gather(*(judge_at(one, farm, 20) for one in (database, again) * 3))
    finally:
        await again.close()
    assert sorted(o.notices for [o] in outcomes) == [0, 0, 0, 0, 0, 1]
    assert await moves(database) == [(RAISED, 13)]


async def test_a_room_that_does_not_exist_is_nothing_to_judge(database: Database, farm: dict[str, Any]) -> None:
    assert [o.notices for o in await judge_at(database, farm, 20, room_id="no such room")] == [0]


async def test_a_probe_that_was_taken_out_is_not_brought_back_by_late_readings(
    database: Database, farm: dict[str, Any]
) -> None:
    """Its last values were dry and are over; an hour later some readings of the other probe come in."""
    await hear(database, [GOOD] * 30, probe=BACK)
    await hear(database, [*[GOOD] * 5, *[DRY] * 12])
    await judge_at(database, farm, *range(1, 18))
    async with database.write() as connection:
        out = {"probe_id": "h7-door", "room_id": None, "place": "", "valid_from_ms": minute(17)}
        await rooms.place_probe(connection, 1, {**out, "recorded_ms": minute(17), "who": "Ines"})
    await judge_at(database, farm, *range(18, 30))
    assert [(happens, round(at)) for happens, at in await moves(database)] == [(RAISED, 13), (CLEARED, 22)]
    await hear(database, [GOOD] * 10, probe=BACK, start=20.5, late_ms=600_000)
    await judge_at(database, farm, 32, 33)
    assert [(happens, round(at)) for happens, at in await moves(database)] == [(RAISED, 13), (CLEARED, 22)]


async def test_an_alarm_that_is_owed_again_has_a_name_of_its_own(database: Database, farm: dict[str, Any]) -> None:
    """The batch is written down as gone since minute 10, then another as there since minute 0: it is still dry."""
    await hear(database, [GOOD] * 40, probe=BACK)
    await hear(database, [*[GOOD] * 5, *[DRY] * 35])
    await judge_at(database, farm, *range(1, 30))
    await move_batch(database, "SH-41", None, at=10)
    await judge_at(database, farm, 30)
    await add_batch(database, "SH-42", at=0)
    await hear(database, [GOOD] * 5, probe=BACK, start=20.5, late_ms=600_000)
    await judge_at(database, farm, 31, 32)
    assert await moves(database) == [(RAISED, 13), (CLEARED, 28.75), (AGAIN, 28.75)]
    assert await tellings(database) == [
        ("trouble", "wake", 13),
        ("back", "round", 28.75),
        ("trouble", "wake", 28.75),
    ]
