"""On PostgreSQL recording and judging run side by side: no reading is passed over by a judgement under way."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator

import pytest

from rules.model import HOUR_MS, MINUTE_MS, SECOND_MS
from service.storage import judgements
from service.storage.database import Database
from service.watch.judge import SETTLE_MS
from service.watch.record import record
from tests.support.databases import postgres_database
from tests.support.farmyard import NOW_MS
from tests.support.held_locks import ROOMS, held
from tests.support.mail_bag import timed
from tests.support.postgres import PostgresServer
from tests.support.watched import DOOR, ROOM, watched_farm


@pytest.fixture
async def database(postgres_server: PostgresServer) -> AsyncGenerator[Database]:
    async with postgres_database(postgres_server) as made:
        await watched_farm(made)
        yield made


def url(database: Database) -> str:
    return database.url.render_as_string(hide_password=False)


async def test_a_reading_that_is_judged_past_while_it_is_recorded_is_judged_again(database: Database) -> None:
    """The judgement under way has read what was there, when a late reading is recorded; it goes on past it."""
    late = timed(80.0, at_ms=NOW_MS - MINUTE_MS, probe=DOOR)
    async with database.write() as judging:
        judgement = await judgements.lock(judging, 1, ROOM)
        assert judgement is not None
        await asyncio.wait_for(record(database, 1, [late]), timeout=10)
        await judgements.save(judging, 1, judgement, judged_ms=NOW_MS - SETTLE_MS, state={})
    async with database.read() as looking:
        assert ROOM in await judgements.rooms_to_judge(looking, 1, NOW_MS - HOUR_MS)
    async with database.write() as judging:
        again = await judgements.lock(judging, 1, ROOM)
        assert again is not None
        assert again.again_from_ms == NOW_MS - MINUTE_MS


async def test_what_comes_in_time_is_recorded_even_while_every_room_is_held(database: Database) -> None:
    async with held(url(database), ROOMS):
        fresh = timed(80.0, at_ms=NOW_MS - 2 * SECOND_MS, probe=DOOR)
        outcome = await asyncio.wait_for(record(database, 1, [fresh]), timeout=10)
    assert (outcome.stored, outcome.rooms) == (1, {ROOM})
