"""Who is told of a notice, when, and who no more: on both databases."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from rules.model import HOUR_MS, Quantity
from service.notifications.address import Address
from service.notifications.lines import ways
from service.notifications.routing import Way
from service.storage import ledger, people
from service.storage.database import Database
from service.storage.tables import deliveries
from service.watch.holds import Holding
from service.watch.on_call import call_list
from service.watch.respond import Word, answer
from tests.support.clock import HandClock
from tests.support.farmyard import NIGHT_TO_MS
from tests.support.telling import add_person, set_call_list
from tests.support.watched import (
    DRY,
    DRY_HALF_HOUR,
    GOOD,
    ROOM,
    VERY_DRY,
    change_stage,
    hear,
    judge_at,
    minute,
    restart_first_days,
    watched_farm,
)
from tests.support.written import notices, written


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    made = await watched_farm(database)
    await add_person(database, "cal", "+12025550143")
    await add_person(database, "dee", "+12025550144")
    await set_call_list(database, ("maria", 0), ("ben", 10), ("cal", 20), ("dee", 40))
    return made


async def addressed(database: Database, farm: dict[str, Any], *minutes: float) -> None:
    clock = HandClock(0)
    for count in minutes:
        clock.set(minute(count))
        await Address(database=database, farm=farm, clock=clock).all_notices()


async def dry(database: Database, farm: dict[str, Any], *minutes: float) -> None:
    """House 7 is dry, decided on at minute 14; judged at further minutes as asked."""
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, 14, *minutes)


async def told(database: Database) -> dict[str, str]:
    """Every telling of trouble, and how it stands."""
    rows = await written(database, "deliveries")
    return {row["person_id"]: row["state"] for row in rows if "/back/" not in row["notice_key"]}


async def set_state(database: Database, person: str, state: str, **more: Any) -> None:
    async with database.write() as connection:
        changed = deliveries.update().where(deliveries.c.person_id == person).values(state=state, **more)
        await connection.execute(changed)


async def say(database: Database, person: str, word: Word, *, at: float) -> None:
    await answer(database, 1, room_id=ROOM, person_id=person, word=word, way="page", now_ms=minute(at))


async def test_the_first_two_are_told_at_once_and_the_others_by_time(
    database: Database, farm: dict[str, Any]
) -> None:
    await dry(database, farm)
    seen = []
    for at in (14, 15, 33, 34, 53, 54):
        await addressed(database, farm, at)
        seen.append(sorted(await told(database)))
    two, three, all_four = ["ben", "maria"], ["ben", "cal", "maria"], ["ben", "cal", "dee", "maria"]
    assert seen == [two, two, two, three, three, all_four]


async def test_when_all_are_told_and_nothing_is_under_way_the_notice_is_finished(
    database: Database, farm: dict[str, Any]
) -> None:
    await set_call_list(database, ("maria", 0), ("ben", 10))
    await dry(database, farm)
    await addressed(database, farm, 14, 15)
    assert [row["addressed"] for row in await notices(database)] == [0]
    await set_state(database, "maria", "sent")
    await set_state(database, "ben", "gave up")
    await addressed(database, farm, 16)
    assert [row["addressed"] for row in await notices(database)] == [0], "Ben is tried by mail"
    await set_state(database, "ben", "gave up")
    await addressed(database, farm, 17)
    assert [row["addressed"] for row in await notices(database)] == [1]


async def test_when_the_first_two_cannot_be_reached_the_third_is_told_at_once(
    database: Database, farm: dict[str, Any]
) -> None:
    await dry(database, farm)
    await addressed(database, farm, 14)
    await set_state(database, "maria", "gave up")
    await addressed(database, farm, 15)
    assert "cal" not in await told(database)
    await set_state(database, "ben", "gave up")
    await addressed(database, farm, 15)
    assert "cal" in await told(database)


async def test_when_those_who_were_told_cannot_come_the_third_is_told_at_once(
    database: Database, farm: dict[str, Any]
) -> None:
    await dry(database, farm)
    await addressed(database, farm, 14)
    await set_state(database, "maria", "sent")
    await set_state(database, "ben", "sent")
    await say(database, "maria", Word.CANNOT, at=15)
    await addressed(database, farm, 15)
    assert "cal" not in await told(database)
    await say(database, "ben", Word.CANNOT, at=16)
    await addressed(database, farm, 16)
    assert "cal" in await told(database)


async def test_nobody_further_is_told_once_somebody_is_going(database: Database, farm: dict[str, Any]) -> None:
    await dry(database, farm)
    await addressed(database, farm, 14)
    await set_state(database, "maria", "sent")
    await say(database, "maria", Word.GOING, at=16)
    await addressed(database, farm, 17, 40, 60)
    assert await told(database) == {"maria": "sent", "ben": "cancelled"}


async def test_an_answer_that_comes_between_reading_and_addressing_stops_it(
    database: Database, farm: dict[str, Any]
) -> None:
    await dry(database, farm)
    await asyncio.gather(addressed(database, farm, 14), say(database, "maria", Word.GOING, at=14.5))
    await addressed(database, farm, 15, 60)
    assert set((await told(database)).values()) <= {"cancelled"}


async def test_going_is_about_what_was_known_and_a_deeper_fall_calls_again(
    database: Database, farm: dict[str, Any]
) -> None:
    await hear(database, [*DRY_HALF_HOUR[:20], *[VERY_DRY] * 10])
    await judge_at(database, farm, 14)
    await addressed(database, farm, 14)
    await say(database, "maria", Word.GOING, at=16)
    await judge_at(database, farm, 24)
    await addressed(database, farm, 24)
    deeper = [row["person_id"] for row in await written(database, "deliveries") if "/deeper/" in row["notice_key"]]
    assert sorted(deeper) == ["ben", "maria"]


async def test_back_goes_only_to_those_who_were_woken(database: Database, farm: dict[str, Any]) -> None:
    await dry(database, farm)
    await addressed(database, farm, 14)
    await set_state(database, "maria", "sent")
    await set_state(database, "ben", "gave up")
    await judge_at(database, farm, 40)
    await addressed(database, farm, 40)
    back = [row["person_id"] for row in await written(database, "deliveries") if "/back/" in row["notice_key"]]
    assert back == ["maria"]
    assert {row["addressed"] for row in await notices(database)} == {1}


async def test_back_calls_off_what_had_not_gone_out(database: Database, farm: dict[str, Any]) -> None:
    await dry(database, farm)
    await addressed(database, farm, 14)
    await judge_at(database, farm, 40)
    await addressed(database, farm, 40, 41, 90)
    assert await told(database) == {"maria": "cancelled", "ben": "cancelled"}
    assert [row for row in await written(database, "deliveries") if "/back/" in row["notice_key"]] == []
    assert {row["addressed"] for row in await notices(database)} == {1}


async def test_what_is_over_before_anybody_was_told_is_told_to_nobody(
    database: Database, farm: dict[str, Any]
) -> None:
    await dry(database, farm, 40)
    await addressed(database, farm, 40, 90)
    assert await told(database) == {}
    assert {row["addressed"] for row in await notices(database)} == {1}


async def test_what_is_held_back_before_anybody_was_told_is_told_to_nobody(
    database: Database, farm: dict[str, Any]
) -> None:
    """Dry since minute 10 and warm since minute 0; Ben begins work at 22, and all of it is seen in one look."""
    async with database.write() as connection:
        holding = Holding(connection=connection, farm_id=1, now_ms=minute(22))
        await holding.working(ROOM, "ben", minute(60))
    await hear(database, [35.0] * 24, quantity=Quantity.TEMPERATURE)
    await hear(database, [*[GOOD] * 10, *[DRY] * 14])
    await judge_at(database, farm, 22.5)
    await addressed(database, farm, 22.5, 30)
    assert await told(database) == {}
    assert {row["addressed"] for row in await notices(database)} == {1}


async def test_a_lump_in_many_messages_wakes_nobody_for_what_it_says_is_over(
    database: Database, farm: dict[str, Any]
) -> None:
    await judge_at(database, farm, 180)
    await hear(database, DRY_HALF_HOUR[:20])
    await judge_at(database, farm, 180.1)
    await addressed(database, farm, 180.1)
    await hear(database, DRY_HALF_HOUR[20:], start=20)
    await judge_at(database, farm, 180.2)
    await addressed(database, farm, 180.2, 183, 240)
    assert await told(database) == {}
    assert [row["kind"] for row in await notices(database)] == ["trouble", "back"]


async def test_a_lump_that_breaks_off_while_it_is_dry_is_told_after_a_short_wait(
    database: Database, farm: dict[str, Any]
) -> None:
    await judge_at(database, farm, 180)
    await hear(database, DRY_HALF_HOUR[:20])
    await judge_at(database, farm, 180.1)
    await addressed(database, farm, 180.1, 182)
    assert await told(database) == {}
    await addressed(database, farm, 182.2)
    assert set(await told(database)) == {"maria", "ben"}


async def test_back_waits_for_a_text_that_is_on_its_way(database: Database, farm: dict[str, Any]) -> None:
    await dry(database, farm)
    await addressed(database, farm, 14)
    await set_state(database, "maria", "waiting", claimed_until_ms=minute(42))
    await judge_at(database, farm, 40)
    await addressed(database, farm, 40)
    assert await told(database) == {"maria": "waiting", "ben": "cancelled"}
    await set_state(database, "maria", "sent", claimed_until_ms=0)
    await addressed(database, farm, 41)
    back = [row["person_id"] for row in await written(database, "deliveries") if "/back/" in row["notice_key"]]
    assert back == ["maria"]


async def test_an_alarm_that_ends_with_its_limit_calls_nobody_further(
    database: Database, farm: dict[str, Any]
) -> None:
    await dry(database, farm)
    await addressed(database, farm, 14)
    await change_stage(database, "soak", at=20)
    await judge_at(database, farm, 21)
    await addressed(database, farm, 21, 60)
    assert await told(database) == {"maria": "cancelled", "ben": "cancelled"}


async def test_what_is_for_the_round_sheet_is_told_to_nobody(database: Database, farm: dict[str, Any]) -> None:
    await restart_first_days(database)
    await dry(database, farm)
    await addressed(database, farm, 14)
    assert await told(database) == {}
    assert [row["addressed"] for row in await notices(database)] == [1]


async def test_day_and_night_have_lists_of_their_own(database: Database, farm: dict[str, Any]) -> None:
    """Trouble decided on before the morning round is the night's, an hour later it is the day's."""
    async with database.write() as connection:
        await people.set_call_list(connection, 1, "night", [("dee", 0)], who="Ines", recorded_ms=0)
        await people.set_call_list(connection, 1, "day", [("cal", 0)], who="Ines", recorded_ms=0)
    async with database.read() as connection:
        found = {}
        for hour in (-12, -1, 0, 11, 12):
            at_ms = NIGHT_TO_MS + hour * HOUR_MS
            found[hour] = [p["person_id"] for p in await call_list(connection, farm, at_ms=at_ms, room_id=ROOM)]
    assert found == {-12: ["dee"], -1: ["dee"], 0: ["cal"], 11: ["cal"], 12: ["dee"]}


async def test_a_list_that_reaches_nobody_ends_and_hides_nothing(
    database: Database, farm: dict[str, Any], capfd: pytest.CaptureFixture[str]
) -> None:
    await set_call_list(database, ("old-hand", 0))
    await dry(database, farm)
    await addressed(database, farm, 14)
    assert await told(database) == {}
    assert [row["addressed"] for row in await notices(database)] == [1]
    assert "nobody can be told" in "".join(capfd.readouterr())


async def test_one_notice_that_cannot_be_addressed_does_not_silence_the_others(
    database: Database, farm: dict[str, Any]
) -> None:
    broken = {"notice_key": "0", "kind": "trouble", "telling": "wake", "room_id": None, "happening_id": "gone"}
    moment = {"at_ms": 0, "decided_ms": 2**60, "use_by_ms": 0, "facts": {}}
    async with database.write() as connection:
        await ledger.add_notices(connection, 1, [{**broken, **moment}])
    await dry(database, farm)
    await addressed(database, farm, 14)
    assert sorted(await told(database)) == ["ben", "maria"]


async def test_addressing_twice_at_once_tells_once(database: Database, farm: dict[str, Any]) -> None:
    await dry(database, farm)
    await asyncio.gather(*(addressed(database, farm, 14) for _ in range(4)))
    rows = await written(database, "deliveries")
    assert sorted(row["person_id"] for row in rows) == ["ben", "maria"]


NOBODY = {"phone": None, "email": None, "way": "text", "opted_out_ms": None}


def test_a_person_is_told_by_the_way_they_chose_and_then_by_the_others() -> None:
    person = {**NOBODY, "phone": "+12025550141", "email": "maria@example.org"}
    every = frozenset(Way)
    assert ways(person, every) == (Way.TEXT, Way.VOICE, Way.MAIL)
    assert ways({**person, "way": "voice"}, every) == (Way.VOICE, Way.TEXT, Way.MAIL)
    assert ways({**person, "way": "mail"}, every) == (Way.MAIL, Way.TEXT, Way.VOICE)
    assert ways({**person, "opted_out_ms": 1}, every) == (Way.VOICE, Way.MAIL), "their carrier drops our texts"
    assert ways(NOBODY, every) == ()


def test_where_only_mail_is_set_up_a_person_with_both_is_mailed() -> None:
    person = {**NOBODY, "phone": "+12025550141", "email": "maria@example.org"}
    only_mail = frozenset({Way.MAIL})
    assert ways(person, only_mail) == (Way.MAIL,)
    assert ways({**person, "email": None}, only_mail) == (Way.TEXT,), "given up at once, and seen"


async def test_a_farm_with_only_one_call_list_uses_it_day_and_night(
    database: Database, farm: dict[str, Any]
) -> None:
    async with database.write() as connection:
        await people.set_call_list(connection, 1, "night", [], who="Ines", recorded_ms=0)
        await people.set_call_list(connection, 1, "day", [("cal", 0)], who="Ines", recorded_ms=0)
    async with database.read() as connection:
        night = await call_list(connection, farm, at_ms=NIGHT_TO_MS - 1, room_id=ROOM)
    assert [person["person_id"] for person in night] == ["cal"]
