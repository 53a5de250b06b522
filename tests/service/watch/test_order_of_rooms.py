"""Whoever takes several rooms takes them in one order: else two who do so stop each other, on PostgreSQL."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from service.storage import ledger
from service.storage.database import Database
from service.watch.respond import Word, answer
from tests.support import farmyard
from tests.support.held_locks import held, somebody_waits
from tests.support.waiting import until
from tests.support.watched import minute
from tests.support.written import written

THREE = "SELECT room_id FROM judgements WHERE room_id = 'house-3' FOR UPDATE"
SEVEN = "SELECT room_id FROM judgements WHERE room_id = 'house-7' FOR UPDATE"


@pytest.mark.parametrize("database", ["postgresql"], indirect=True)
async def test_an_answer_about_a_house_and_the_whole_farm_takes_the_houses_in_order(database: Database) -> None:
    """The look over the farm holds House 3 and takes House 7, while Ben answers of danger in 7 and of both."""
    await farmyard.settle(database)
    begun: dict[str, Any] = {"began_ms": minute(0), "woke": 1, "ended_ms": None, "closed_ms": None}
    part = {**begun, "part_of": "site@1"}
    async with database.write() as connection:
        for happening_id, room_id, rest in (
            ("site@1", None, begun),
            ("house-3@1", "house-3", part),
            ("house-7@1", "house-7", part),
            ("house-7@2/people", "house-7", {**begun, "began_ms": minute(1)}),
        ):
            happening = {"happening_id": happening_id, "room_id": room_id, **rest}
            await ledger.save_happening(connection, 1, happening)
    url = database.url.render_as_string(hide_password=False)
    said: dict[str, Any] = {"room_id": "house-7", "person_id": "ben", "word": Word.CANNOT, "way": "page"}
    async with held(url, THREE) as look:
        assert look is not None
        answering = asyncio.create_task(answer(database, 1, **said, now_ms=minute(2)))
        await until(lambda: somebody_waits(look), within_s=20)
        await look.execute(SEVEN)
    await answering
    assert len(await written(database, "answers")) == 4
