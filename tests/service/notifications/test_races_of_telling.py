"""Two workers tell while people answer: nobody is sent a text twice, and nothing is left behind."""

from __future__ import annotations

import asyncio

import pytest

from service.storage.database import Database
from service.watch.respond import Word, answer
from tests.support.telling import Teller, add_person, set_call_list, teller
from tests.support.watched import DRY_HALF_HOUR, ROOM, hear, judge_at, minute, watched_farm
from tests.support.written import notices, written


async def work(worker: Teller, rounds: int) -> None:
    worker.clock.set(minute(14))
    for _ in range(rounds):
        await worker.address.all_notices()
        await worker.deliver.all_due()


async def say(database: Database, word: Word, person: str, *, looks: int) -> None:
    """An answer that comes so many looks at the database later."""
    for _ in range(looks):
        await written(database, "people")
    await answer(database, 1, room_id=ROOM, person_id=person, word=word, way="page", now_ms=minute(14) + 1)


@pytest.mark.parametrize("looks", [0, 2, 5, 9, 14])
async def test_two_workers_and_three_answers_at_once_send_each_text_once(database: Database, looks: int) -> None:
    farm = await watched_farm(database)
    await add_person(database, "cal", "+12025550143")
    await set_call_list(database, ("maria", 0), ("ben", 0), ("cal", 0))
    await hear(database, DRY_HALF_HOUR[:20])
    await judge_at(database, farm, 14)
    async with teller(database, farm) as one, teller(database, farm) as other:
        await asyncio.gather(
            work(one, 3),
            work(other, 3),
            say(database, Word.GOING, "maria", looks=looks),
            say(database, Word.CANNOT, "ben", looks=looks + 1),
            say(database, Word.GOING, "cal", looks=looks + 1),
        )
        await work(one, 2)
        keys = [asked["key"] for asked in (*one.asked(), *other.asked())]
        assert len(keys) == len(set(keys))
        rows = await written(database, "deliveries")
        assert {row["state"] for row in rows} <= {"sent", "cancelled"}
        assert {row["delivery_id"] for row in rows if row["state"] == "sent"} == set(keys)
        assert {notice["addressed"] for notice in await notices(database)} == {1}
        assert len(await written(database, "answers")) == 3
