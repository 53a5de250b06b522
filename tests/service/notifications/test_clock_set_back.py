"""The clock was three hours ahead when House 7 went dry, and is put right: people are told at once, as ever."""

from __future__ import annotations

import json

from service.notifications.clock_set_back import ClockSetBack
from service.storage import machine, outbox
from service.storage.database import Database
from tests.support.night_call import NightCall, night_call, refusing
from tests.support.text_gateway import Answer
from tests.support.watched import DRY, GOOD, hear, judge_at, minute
from tests.support.written import written

AHEAD = 180


async def told_in_vain(night: NightCall) -> ClockSetBack:
    """House 7 is dry, and the gateway takes nothing."""
    back = ClockSetBack(database=night.database, farm=night.farm, clock=night.clock)
    refusing(night.gateway)
    await hear(night.database, [*[GOOD] * 5, *[DRY] * 25])
    await judge_at(night.database, night.farm, 16)
    night.clock.set(minute(16))
    assert not await back.look()
    await night.address.all_notices()
    await night.deliver.all_due()
    night.gateway.answer = Answer()
    return back


async def live_on(night: NightCall, back: ClockSetBack) -> dict[str, int]:
    """Forty minutes after the clock was put right; the minute in which each person was told."""
    told: dict[str, int] = {}
    for at in range(40):
        night.clock.set(minute(16 - AHEAD + at))
        await back.look()
        await night.address.all_notices()
        await night.deliver.all_due()
        for row in await written(night.database, "deliveries", state="sent"):
            told.setdefault(row["person_id"], at)
    return told


async def test_what_waits_to_be_tried_again_and_whoever_is_next_are_told_as_if_nothing_had_been(
    database: Database,
) -> None:
    async with night_call(database, {}) as night:
        back = await told_in_vain(night)
        assert await live_on(night, back) == {"maria": 0, "ben": 10, "cal": 30}


async def test_after_a_stop_the_last_sign_of_life_shows_it(database: Database) -> None:
    async with night_call(database, {}) as night:
        await told_in_vain(night)
        async with database.write() as connection:
            await machine.beat(connection, 1, "service", minute(16), "")
        afresh = ClockSetBack(database=night.database, farm=night.farm, clock=night.clock)
        assert await live_on(night, afresh) == {"maria": 0, "ben": 10, "cal": 30}


async def test_a_first_text_does_not_wait_for_others_until_the_wrong_time_comes_round(database: Database) -> None:
    async with night_call(database, {}) as night:
        back = ClockSetBack(database=night.database, farm=night.farm, clock=night.clock)
        await hear(night.database, [*[GOOD] * 5, *[DRY] * 25])
        await judge_at(night.database, night.farm, 16)
        (row,) = await written(database, "notices")
        await wait_for_others(database, row["notice_key"], minute(17))
        night.clock.set(minute(16))
        await back.look()
        assert await live_on(night, back) == {"maria": 0, "ben": 10, "cal": 30}


async def wait_for_others(database: Database, notice_key: str, until_ms: int) -> None:
    (row,) = await written(database, "notices", notice_key=notice_key)
    facts = {**json.loads(row["facts"]), "tell_from_ms": until_ms}
    async with database.write() as connection:
        await outbox.set_facts(connection, 1, notice_key, facts)
