"""Tests of the way to a person, over the API: sent when asked, refused where they prove nothing."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS
from service.storage.database import Database
from service.watch.replies import Reply, take_reply
from tests.support import farmyard
from tests.support.api import Api, open_api
from tests.support.clock import HandClock

NIGHT = {"kind": "night ring", "who": "Ines"}


@pytest.fixture
async def telling_api(database: Database) -> AsyncIterator[Api]:
    """The API of a farm with texts out and in."""
    farm = await farmyard.settle(database)
    clock = HandClock(farmyard.NOW_MS)
    async with open_api(database, farm, clock, ways=frozenset({"text", "mail"}), answers_by_text=True) as opened:
        yield opened


async def ben(api: Api) -> dict[str, object]:
    return next(one for one in await api.get("/api/people") if one["person_id"] == "ben")


async def reply(api: Api, text: str, number: str) -> None:
    now_ms, phone = api.clock.now_ms(), str((await ben(api))["phone"])
    said = Reply(way="text", phone=phone, person_id=None, text=text, received_ms=now_ms, inbound_id=number)
    await take_reply(api.desk, said)


async def test_setting_up_is_complete_after_an_answer_and_a_night_test(telling_api: Api) -> None:
    api = telling_api
    assert len((await ben(api))["missing"]) == 2  # type: ignore[arg-type]
    test = await api.post("/api/people/ben/trials", NIGHT)
    assert (test["kind"], test["way"], test["state"]) == ("night ring", "text", "waiting")
    api.clock.forward(MINUTE_MS)
    await reply(api, "status", "1")
    assert (await ben(api))["missing"] == [
        "not tried at night: send a night test with the phone's sound off, and have it answered"
    ]
    await reply(api, "Here", "2")
    assert (await ben(api))["missing"] == []
    assert (await api.get("/api/trials"))[0]["answered"] is not None


async def test_the_same_person_is_not_tested_twice_a_minute(telling_api: Api) -> None:
    await telling_api.post("/api/people/ben/trials", NIGHT)
    await telling_api.post("/api/people/ben/trials", NIGHT, expect=409)
    await telling_api.post("/api/people/nobody/trials", NIGHT, expect=404)
    await telling_api.post("/api/people/old-hand/trials", NIGHT, expect=409)


async def test_who_did_not_answer_is_said_after_a_day(telling_api: Api) -> None:
    await telling_api.post("/api/people/ben/trials", {"kind": "by hand", "who": "Ines"})
    telling_api.clock.forward(DAY_MS)
    (test,) = await telling_api.get("/api/trials")
    assert test["said"] == "Ben has not answered the test text of Wed 25 Nov"


async def test_somebody_who_stood_by_can_say_that_it_rang(telling_api: Api) -> None:
    await telling_api.post("/api/people/ben/rang", {"who": "Ines"}, expect=409)
    await telling_api.post("/api/people/ben/trials", NIGHT)
    said = await telling_api.post("/api/people/ben/rang", {"who": "Ines"}, expect=200)
    assert said["answered"] is not None
    telling_api.clock.forward(HOUR_MS + 1)
    await telling_api.post("/api/people/ben/rang", {"who": "Ines"}, expect=409)


async def test_a_farm_without_a_way_to_tell_can_test_nothing(one_api: Api) -> None:
    await one_api.post("/api/people/ben/trials", NIGHT, expect=409)
