"""Tellings that nobody would think of: danger with an empty list, an end while a text is under way, and others."""

from __future__ import annotations

from typing import Any

import pytest

from service.notifications.address import Address
from service.notifications.routing import Way
from service.storage import ledger, outbox
from service.storage.database import Database
from service.storage.tables import deliveries, people
from tests.support.clock import HandClock
from tests.support.night_call import Says, first, night_call, refusing
from tests.support.telling import set_call_list
from tests.support.text_gateway import Answer
from tests.support.watched import DRY_HALF_HOUR, ROOM, hear, judge_at, minute, watched_farm
from tests.support.written import written


async def addressed(database: Database, farm: dict[str, Any], at: float) -> None:
    ways = frozenset({Way.TEXT, Way.VOICE})
    await Address(database=database, farm=farm, clock=HandClock(minute(at)), ways=ways).all_notices()


async def hears_back(database: Database) -> list[tuple[str, str]]:
    rows = await written(database, "deliveries")
    return [(row["person_id"], row["way"]) for row in rows if "/back/" in row["notice_key"]]


async def test_danger_with_nobody_on_the_list_is_told_to_whoever_can_be_told(database: Database) -> None:
    farm = await watched_farm(database)
    await set_call_list(database)
    happening = {"happening_id": f"{ROOM}@1/people", "room_id": ROOM, "began_ms": minute(1), "woke": 1}
    notice = {
        "notice_key": "danger",
        "kind": "danger",
        "telling": "danger",
        "room_id": ROOM,
        "happening_id": happening["happening_id"],
        "at_ms": minute(1),
        "decided_ms": minute(1),
        "use_by_ms": minute(120),
        "facts": {"inside": []},
    }
    async with database.write() as connection:
        await ledger.save_happening(connection, 1, {**happening, "ended_ms": None, "closed_ms": None})
        await ledger.add_notices(connection, 1, [notice])
    await addressed(database, farm, 1)
    assert {row["person_id"] for row in await written(database, "deliveries")} == {"maria", "ben"}


@pytest.mark.parametrize("change", [{"opted_out_ms": 1}, {"active": 0}])
async def test_whoever_wants_no_texts_or_left_while_one_waits_gets_none(
    database: Database, change: dict[str, int]
) -> None:
    async with night_call(database, {}) as night:
        refusing(night.gateway)
        await night.through(15)
        async with database.write() as connection:
            await connection.execute(people.update().where(people.c.person_id == "maria").values(change))
        night.gateway.answer = Answer()
        await night.tick(16)
        await night.tick(17)
        assert night.kinds() == [(16, "ben")], "the next person instead, at once"
        [row] = await written(database, "deliveries", person_id="maria")
        assert (row["state"], row["detail"]) == ("gave up", "no address for text")


async def test_cannot_of_the_second_who_went_wakes_the_third_though_the_first_had_mended_it(
    database: Database,
) -> None:
    """Maria says that it is mended, and it is no better; Ben goes, and then cannot. Maria's word is an old one."""
    phones = {
        "maria": first(Says(text="7 fixed", after=2)),
        "ben": first(Says(text="7 going", after=2), Says(text="7 cannot", after=6)),
    }
    async with night_call(database, phones) as night:
        await night.through(75)
        told = [one for one in night.kinds() if one[1] != "maria"]
        assert told == [(66, "ben"), (72, "cal")]


async def test_the_end_is_told_once_to_somebody_reached_by_a_second_way_meanwhile(database: Database) -> None:
    """The text is on its way when the house is back; the call had gone out. Then the text arrives as well."""
    farm = await watched_farm(database)
    await set_call_list(database, ("ben", 0))
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, 14)
    await addressed(database, farm, 14)
    [text] = await written(database, "deliveries")
    table = deliveries
    call = {**text, "delivery_id": "call", "way": "voice", "step": 100, "state": outbox.SENT}
    async with database.write() as connection:
        await outbox.add_tellings(connection, 1, [call])
        mine = table.c.delivery_id == text["delivery_id"]
        await connection.execute(table.update().where(mine).values(claimed_until_ms=minute(42)))
    await judge_at(database, farm, 40)
    await addressed(database, farm, 40)
    async with database.write() as connection:
        await connection.execute(table.update().where(mine).values(state=outbox.SENT, claimed_until_ms=0))
    await addressed(database, farm, 41)
    assert await hears_back(database) == [("ben", "voice")]
