"""From tellings to a real gateway over HTTP: once, in the person's units, again when it fails, never too late."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncGenerator
from typing import Any

import pytest

from rules.model import MINUTE_MS, SECOND_MS, Quantity
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Outcome
from service.notifications.routing import Way
from service.storage import outbox
from service.storage.database import Database
from service.storage.tables import metadata
from service.watch.respond import Word, answer
from tests.support.telling import Teller, add_person, set_call_list, teller
from tests.support.text_gateway import Answer
from tests.support.waiting import until
from tests.support.watched import DRY_HALF_HOUR, ROOM, hear, judge_at, minute, watched_farm
from tests.support.written import notices, written


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    """House 7 is dry, decided on at minute 14; Maria reads Fahrenheit, Ben Celsius."""
    made = await watched_farm(database)
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, made, 14)
    return made


@pytest.fixture
async def tell(database: Database, farm: dict[str, Any]) -> AsyncGenerator[Teller]:
    async with teller(database, farm) as made:
        yield made


async def test_trouble_and_its_end_reach_people_once(
    database: Database, farm: dict[str, Any], tell: Teller
) -> None:
    await tell.at(14, 14.5, 15, 20)
    assert sorted(tell.people()) == ["ben", "maria"]
    text = tell.heard()[0][1]
    for said in ("House 7", "shiitake", "pins", "80", "85", "9 min", "nvented"):
        assert said in text
    assert len(text) <= 160
    assert await tell.states() == {"ben": "sent", "maria": "sent"}
    await judge_at(database, farm, 40)
    await tell.at(40, 41)
    assert sorted(tell.people()[2:]) == ["ben", "maria"]
    assert "ack" in tell.heard()[3][1]
    keys = {one["key"] for one in tell.asked()}
    assert keys == {row["delivery_id"] for row in await tell.deliveries()}


async def test_each_person_reads_their_own_units(database: Database, farm: dict[str, Any], tell: Teller) -> None:
    await judge_at(database, farm, 40)
    await hear(database, [25.0] * 30, start=41, quantity=Quantity.TEMPERATURE)
    await judge_at(database, farm, 70)
    await tell.at(70)
    texts = dict(tell.heard())
    assert "77" in texts["maria"]
    assert "25" in texts["ben"]


async def test_a_refusal_that_may_pass_is_tried_again_with_the_same_text_and_key(
    database: Database, tell: Teller
) -> None:
    tell.gateway.answer = Answer(status=503)
    await tell.at(14)
    async with database.write() as connection:
        await connection.execute(metadata.tables["people"].update().values(units="metric"))
    await tell.at_ms(minute(14) + 4 * SECOND_MS)
    assert len(tell.asked()) == 2
    tell.gateway.answer = Answer(status=200)
    await tell.at_ms(minute(14) + 6 * SECOND_MS)
    first, again = tell.asked()[:2], tell.asked()[2:]
    assert sorted(first, key=str) == sorted(again, key=str)
    assert await tell.states() == {"ben": "sent", "maria": "sent"}
    tries = await written(database, "attempts")
    assert sorted((row["attempt"], row["outcome"]) for row in tries) == [
        (1, "refused"),
        (1, "refused"),
        (2, "accepted"),
        (2, "accepted"),
    ]


async def test_a_gateway_that_hangs_up_is_tried_again(tell: Teller) -> None:
    tell.gateway.answer = Answer(hang_up=True)
    await tell.at(14)
    assert await tell.states() == {"ben": "waiting", "maria": "waiting"}
    tell.gateway.answer = Answer()
    await tell.at(15)
    assert await tell.states() == {"ben": "sent", "maria": "sent"}


async def test_a_refusal_for_good_is_given_up_at_once_and_the_next_person_is_told(
    database: Database, tell: Teller
) -> None:
    await add_person(database, "cal", "+12025550142")
    await set_call_list(database, ("maria", 0), ("ben", 10), ("cal", 60))
    tell.gateway.answer = Answer(status=400, body=b"no such number")
    await tell.at(14)
    assert await tell.states() == {"ben": "gave up", "maria": "gave up"}
    tell.gateway.answer = Answer()
    await tell.at(15)
    assert await tell.states() == {"ben": "gave up", "maria": "gave up", "cal": "sent"}
    given_up = await tell.deliveries(state="gave up")
    assert all("no such number" in row["detail"] and row["ended_ms"] for row in given_up)


async def test_a_gateway_that_stays_down_is_given_up_before_the_text_is_too_late(tell: Teller) -> None:
    tell.gateway.answer = Answer(status=500)
    await tell.at(*range(14, 140, 2))
    assert await tell.states() == {"ben": "gave up", "maria": "gave up"}
    [row] = await tell.deliveries(person_id="ben")
    assert row["ended_ms"] <= minute(14 + 120)
    assert "not delivered after" in row["detail"]
    before = len(tell.asked())
    await tell.at(141)
    assert len(tell.asked()) == before


async def test_a_telling_that_can_only_come_too_late_is_missed_and_not_sent(tell: Teller) -> None:
    tell.clock.set(minute(14))
    await tell.address.all_notices()
    await tell.at(14 + 121)
    assert await tell.states() == {"ben": "missed", "maria": "missed"}
    assert tell.asked() == []
    assert (await tell.deliveries())[0]["detail"] == "too late to be useful; see the sheet"


async def test_an_answer_calls_off_a_text_that_waits_for_its_next_try(database: Database, tell: Teller) -> None:
    tell.gateway.answer = Answer(status=503)
    await tell.at(14)
    await answer(
        database, 1, room_id=ROOM, person_id="ben", word=Word.GOING, way="page", now_ms=minute(14) + SECOND_MS
    )
    tell.gateway.answer = Answer()
    await tell.at(15, 30)
    assert await tell.states() == {"ben": "cancelled", "maria": "cancelled"}
    assert len(tell.asked()) == 2


async def test_an_answer_while_a_text_is_on_its_way_leaves_it_as_sent(database: Database, tell: Teller) -> None:
    held = threading.Event()
    tell.gateway.answer = Answer(held_until=held)
    tick = asyncio.create_task(tell.at(14))
    await until(lambda: len(tell.gateway.asked) == 2, within_s=5, what="both requests at the gateway")
    await answer(
        database, 1, room_id=ROOM, person_id="ben", word=Word.GOING, way="page", now_ms=minute(14) + SECOND_MS
    )
    held.set()
    await tick
    assert await tell.states() == {"ben": "sent", "maria": "sent"}


async def test_an_answer_while_a_text_is_on_its_way_and_fails_is_the_end_of_it(
    database: Database, tell: Teller
) -> None:
    held = threading.Event()
    tell.gateway.answer = Answer(held_until=held, status=503)
    tick = asyncio.create_task(tell.at(14))
    await until(lambda: len(tell.gateway.asked) == 2, within_s=5, what="both requests at the gateway")
    await answer(
        database, 1, room_id=ROOM, person_id="ben", word=Word.GOING, way="page", now_ms=minute(14) + SECOND_MS
    )
    held.set()
    await tick
    tell.gateway.answer = Answer()
    await tell.at(15, 30)
    assert len(tell.asked()) == 2
    assert await tell.states() == {"ben": "cancelled", "maria": "cancelled"}


async def test_a_service_that_died_while_sending_is_followed_by_one_that_sends_under_the_same_key(
    database: Database, farm: dict[str, Any], tell: Teller
) -> None:
    held = threading.Event()
    tell.gateway.answer = Answer(held_until=held)
    dying = asyncio.create_task(tell.at(14))
    await until(lambda: len(tell.gateway.asked) == 2, within_s=5, what="both requests at the gateway")
    dying.cancel()
    await asyncio.gather(dying, return_exceptions=True)
    held.set()
    tell.gateway.answer = Answer()
    async with teller(database, farm) as after:
        await after.at(14.5)
        assert after.asked() == []
        await after.deliver.release()
        await after.at(14.6)
        assert sorted(after.asked(), key=str) == sorted(tell.asked(), key=str)
        assert await after.states() == {"ben": "sent", "maria": "sent"}


async def test_a_claim_that_nobody_ends_is_free_again_after_two_minutes(
    database: Database, farm: dict[str, Any], tell: Teller
) -> None:
    tell.clock.set(minute(14))
    await tell.address.all_notices()
    async with database.write() as connection:
        until_ms = minute(14) + 2 * MINUTE_MS
        await outbox.claim_due(connection, 1, now_ms=minute(14), until_ms=until_ms, limit=20)
    await tell.at(15.9)
    assert tell.asked() == []
    await tell.at(16)
    assert sorted(tell.people()) == ["ben", "maria"]


async def test_two_workers_at_once_send_once(database: Database, farm: dict[str, Any], tell: Teller) -> None:
    async with teller(database, farm) as other:
        tell.clock.set(minute(14))
        other.clock.set(minute(14))
        await tell.address.all_notices()
        await asyncio.gather(*(one.deliver.all_due() for one in (tell, other, tell, other)))
        assert sorted([*tell.people(), *other.people()]) == ["ben", "maria"]


async def test_without_a_way_to_send_it_is_given_up_visibly_at_once(
    database: Database, farm: dict[str, Any]
) -> None:
    async with teller(database, farm, carriers={}) as tell:
        await tell.at(14)
        assert {row["detail"] for row in await tell.deliveries()} == {"no way to send a text is set up"}
        assert await tell.states() == {"ben": "gave up", "maria": "gave up"}


async def test_a_carrier_that_breaks_is_a_failed_try_and_holds_up_nobody(
    database: Database, farm: dict[str, Any]
) -> None:
    class Broken:
        async def carry(self, message: Message) -> Outcome:
            del message
            raise ZeroDivisionError

    async with teller(database, farm, carriers={Way.TEXT: Broken()}) as tell:
        await tell.at(14)
        assert await tell.states() == {"ben": "waiting", "maria": "waiting"}
        assert {row["detail"] for row in await tell.deliveries()} == {"our own fault: ZeroDivisionError"}


async def test_facts_that_cannot_be_put_into_words_still_wake_somebody(database: Database, tell: Teller) -> None:
    async with database.write() as connection:
        await connection.execute(metadata.tables["notices"].update().values(facts='{"room": "House 7"}'))
    await tell.at(14)
    assert tell.heard()[0][1] == "House 7: something is wrong there, look at the page."
    assert await tell.states() == {"ben": "sent", "maria": "sent"}


async def test_somebody_who_lost_their_number_is_passed_over_visibly(database: Database, tell: Teller) -> None:
    tell.clock.set(minute(14))
    await tell.address.all_notices()
    await add_person(database, "ben", None)
    await tell.at(14)
    assert await tell.states() == {"ben": "gave up", "maria": "sent"}
    assert (await tell.deliveries(person_id="ben"))[0]["detail"] == "no address for text"
    assert [row["addressed"] for row in await notices(database)] == [0]
    await tell.at(15)
    assert [row["addressed"] for row in await notices(database)] == [1]


async def test_who_may_have_been_woken_by_a_text_we_lost_sight_of_hears_that_it_is_over(
    database: Database, farm: dict[str, Any], tell: Teller
) -> None:
    """The service died between handing the texts over and writing down what became of them."""
    tell.clock.set(minute(14))
    await tell.address.all_notices()
    async with database.write() as connection:
        assert len(await tell.deliver._claim(connection)) == 2
    await tell.deliver.release()
    await judge_at(database, farm, 40)
    await tell.at(40, 41)
    first = [row for row in await tell.deliveries() if "/trouble/" in row["notice_key"]]
    assert {row["state"] for row in first} == {"unsure"}
    assert sorted(tell.people()) == ["ben", "maria"]
    assert all("ack" in text for _, text in tell.heard())


async def test_a_text_we_lost_sight_of_is_sent_again_under_the_same_key_while_it_lasts(
    database: Database, tell: Teller
) -> None:
    tell.clock.set(minute(14))
    await tell.address.all_notices()
    async with database.write() as connection:
        keys = {ready.message.key for ready in await tell.deliver._claim(connection)}
    await tell.deliver.release()
    await tell.at(15)
    assert {one["key"] for one in tell.asked()} == keys
    assert await tell.states() == {"ben": "sent", "maria": "sent"}
