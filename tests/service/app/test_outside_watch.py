"""The call off the farm: made while we do our work, and not otherwise."""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncIterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

from rules.model import HOUR_MS, MINUTE_MS, SECOND_MS
from service.app.outside_watch import OutsideWatch
from service.errors import PassingError
from service.notifications.address import Address
from service.storage import machine
from service.storage.database import Database
from service.watch.desk import Desk
from service.watch.horizon import Horizon
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.databases import sqlite_database
from tests.support.dribbling_server import dribbling_server
from tests.support.far_end import FarEnd, far_end


@dataclass
class Called:
    """A desk, the watch on it, and whom it calls."""

    desk: Desk
    clock: HandClock
    watch: OutsideWatch
    end: FarEnd
    database: Database

    async def after(self, span_ms: int) -> int:
        """Let time pass, rooms be judged, and a tick ring; return how often the far end was called by now."""
        self.clock.forward(span_ms)
        await self.desk.sweep.all_rooms()
        await self.watch.all_due()
        return len(self.end.called_ms)

    async def pulse(self, part: str = "outside watch") -> Any:
        async with self.database.read() as connection:
            return {r["part"]: r["detail"] for r in await machine.all_pulses(connection, 1)}.get(part)


@pytest.fixture
async def called(tmp_path: Path) -> AsyncIterator[Called]:
    clock = HandClock(farmyard.NOW_MS)
    async with sqlite_database(tmp_path) as database, far_end(clock) as end, httpx.AsyncClient() as client:
        bare = farmyard.desk(database, await farmyard.settle(database), clock)
        made = {name: getattr(bare, name) for name in Desk.__dataclass_fields__}
        horizon = Horizon()
        bare.sweep.horizon = horizon
        desk = Desk(**{**made, "horizon": horizon})
        watch = OutsideWatch(desk=desk, url=end.url, client=client)
        yield Called(desk=desk, clock=clock, watch=watch, end=end, database=database)


async def test_it_calls_at_once_and_then_every_five_minutes(called: Called) -> None:
    assert await called.after(0) == 1
    assert await called.after(5 * MINUTE_MS - 1) == 1
    assert await called.after(1) == 2
    assert await called.pulse() == "answered 204"


async def test_a_clock_that_is_set_back_does_not_keep_it_silent(called: Called) -> None:
    assert await called.after(0) == 1
    called.clock.set(called.clock.now_ms() - 3 * HOUR_MS)
    assert await called.after(0) == 2
    assert await called.after(MINUTE_MS) == 2
    assert await called.after(4 * MINUTE_MS) == 3


async def test_only_the_status_of_an_answer_is_waited_for(called: Called) -> None:
    async with dribbling_server("200 OK") as url:
        called.watch.url = url
        await called.after(0)
    assert await called.pulse() == "answered 200"


async def test_a_call_that_failed_is_made_again_after_a_minute(called: Called) -> None:
    called.end.answer = "503 Service Unavailable"
    assert await called.after(0) == 1
    assert await called.pulse() == "answered 503"
    assert await called.pulse("outside watch answered") is None
    assert await called.after(MINUTE_MS) == 2
    called.end.answer = "302 Found\r\nlocation: /elsewhere"
    assert await called.after(MINUTE_MS) == 3
    assert await called.pulse() == "answered 302"


async def test_nobody_there_is_no_trouble_of_ours(called: Called) -> None:
    called.watch.url = "http://127.0.0.1:1/secret"
    await called.after(0)
    assert await called.pulse() == "ConnectError"
    assert "secret" not in repr(called.watch)


async def test_without_an_address_nothing_is_called(called: Called) -> None:
    called.watch.url = None
    assert await called.after(0) == 0
    assert await called.pulse() is None


async def test_while_the_broker_is_not_heard_it_does_not_call(called: Called) -> None:
    called.desk.horizon.lost(called.clock.at_ms)
    assert await called.after(SECOND_MS) == 0
    assert await called.pulse() == "not called: the broker is not heard"
    called.desk.horizon.caught_up()
    assert await called.after(15 * SECOND_MS) == 1


async def test_while_rooms_are_not_judged_it_does_not_call(called: Called) -> None:
    await called.after(0)
    called.clock.forward(6 * MINUTE_MS)
    await called.watch.all_due()
    assert len(called.end.called_ms) == 1
    assert await called.pulse() == "not called: rooms are not judged"


async def test_while_a_task_stands_still_it_does_not_call(called: Called) -> None:
    async with called.database.write() as connection:
        await machine.beat(connection, 1, "tick tell", farmyard.NOW_MS - 2 * MINUTE_MS, "1")
    assert await called.after(0) == 0
    assert await called.pulse() == "not called: a regular task does not run"


async def test_while_texts_wait_untried_it_does_not_call(called: Called) -> None:
    await farmyard.dry_night(called.database, called.desk.farm, to_ms=farmyard.DRY_FROM_MS + 45 * MINUTE_MS)
    called.clock.set(farmyard.DRY_FROM_MS + 45 * MINUTE_MS)
    await Address(database=called.database, farm=called.desk.farm, clock=called.clock).all_notices()
    assert await called.after(2 * MINUTE_MS + 1) == 0
    assert await called.pulse() == "not called: texts wait and are not tried"


async def test_with_a_database_that_cannot_be_written_it_does_not_call(called: Called, tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "houseband.db", isolation_level=None)) as other:
        await called.desk.sweep.all_rooms()
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(PassingError):
            await called.watch.all_due()
        other.execute("ROLLBACK")
    assert called.end.called_ms == []
