"""Answers about what is open: what each does, what is said back, and what moves nothing."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from service.storage.database import Database
from service.watch.facts_now import FactsNow
from service.watch.going_watch import GoingWatch
from service.watch.judge import Judge
from service.watch.open_things import open_things
from tests.support import farmyard
from tests.support.replying import BEN, MARIA, Phones, answers, begin, dry_house, phones, tell
from tests.support.watched import DRY_HALF_HOUR, hear, judge_at, minute, watched_farm
from tests.support.written import written

# Minute 0 is 07:10 on the farm's clock.


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


@pytest.fixture
async def dry(database: Database, farm: dict[str, Any]) -> Phones:
    return await dry_house(database, farm)


@pytest.fixture
async def two_open(database: Database, dry: Phones) -> Phones:
    """House 3 has trouble as well."""
    await begin(database, "house-3@1", "house-3", at=10)
    return dry


async def test_going_is_taken_confirmed_and_stops_the_telling(database: Database, dry: Phones) -> None:
    said = await dry.said("7 going", at=16)
    assert said == "House 7: you are going, noted 07:26. Text 7 out when you are out. Invented data."
    assert await answers(database) == [("maria", "going", "house-7")]
    [alarm] = await written(database, "alarms")
    assert alarm["state"] == "acknowledged"
    [row] = await written(database, "inbound")
    assert (row["person_id"], row["word"], row["result"]) == ("maria", "going", "going")
    assert row["happening_id"] == (await written(database, "answers"))[0]["happening_id"]


async def test_the_second_to_go_is_told_who_was_first(database: Database, dry: Phones) -> None:
    await dry.send("7 going", at=16)
    said = await dry.said("7 voy", at=17, phone=BEN)
    assert said.startswith("House 7: Maria was first and is going. You are noted too, 07:27.")
    assert len(await written(database, "answers")) == 2


async def test_of_two_at_once_one_is_the_second(database: Database, dry: Phones) -> None:
    both = await asyncio.gather(dry.send("7 going", at=16), dry.send("7 going", at=16, phone=BEN))
    assert sorted(one.result for one in both) == ["going", "going too"]


async def test_cannot_says_that_the_next_is_told(database: Database, dry: Phones) -> None:
    said = await dry.said("no puedo", at=16)
    assert said.startswith("House 7: noted 07:26, you cannot go. We tell whoever is next.")
    [alarm] = await written(database, "alarms")
    assert alarm["state"] == "unacknowledged"


async def test_cannot_says_who_goes_instead(dry: Phones) -> None:
    await dry.send("7 going", at=16, phone=BEN)
    assert "Ben is going." in await dry.said("7 cannot", at=17)


async def test_with_several_open_the_house_is_asked_for_and_nothing_moves(
    database: Database, two_open: Phones
) -> None:
    said = await two_open.said("going", at=16)
    assert said.startswith("Which house? Text 7 going or 3 going.")
    assert await answers(database) == []
    assert (await two_open.send("3 going", at=17)).result == "going"
    assert await answers(database) == [("maria", "going", "house-3")]


async def test_whoever_was_told_of_one_of_them_only_means_that_one(database: Database, two_open: Phones) -> None:
    await tell(database, "maria", "house-3@1", at=11)
    assert (await two_open.send("going", at=16)).room_id == "house-3"


async def test_whoever_went_to_one_of_them_means_that_one_afterwards(database: Database, two_open: Phones) -> None:
    await two_open.send("7 going", at=16)
    assert (await two_open.send("fixed", at=30)).room_id == "house-7"
    assert ("maria", "fixed", "house-7") in await answers(database)


async def test_an_answer_after_the_end_says_when_it_ended(
    database: Database, farm: dict[str, Any], dry: Phones
) -> None:
    await hear(database, DRY_HALF_HOUR[16:], start=16)
    await judge_at(database, farm, 40)
    said = await dry.said("7 going", at=41)
    assert said == "House 7 was back in band at 07:40. Noted 07:51. Invented data."
    [happening] = await written(database, "happenings")
    assert happening["closed_ms"] == minute(41)


async def test_an_answer_after_somebody_saw_to_it_says_when_it_ended(
    database: Database, farm: dict[str, Any]
) -> None:
    maria = phones(database, farm)
    await begin(database, "house-7@1", "house-7", at=1, ended=20, closed=20)
    await tell(database, "maria", "house-7@1", at=2)
    assert await maria.said("7 going", at=30) == "House 7: it was over at 07:30. Noted 07:40. Invented data."
    assert await answers(database) == []


async def test_where_nothing_was_told_nothing_waits(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    assert (await maria.said("7 going", at=1)).startswith("House 7: nothing waits for an answer now.")
    assert (await maria.said("going", at=1)).startswith("Nothing waits for an answer now.")
    assert await answers(database) == []


async def test_out_ends_the_going_even_after_it_is_over(
    database: Database, farm: dict[str, Any], dry: Phones
) -> None:
    await dry.send("7 going", at=16)
    await hear(database, DRY_HALF_HOUR[16:], start=16)
    await judge_at(database, farm, 40)
    async with database.read() as connection:
        assert await open_things(connection, 1) == []
    assert (await dry.said("out", at=45)).startswith("House 7: noted 07:55, you are out.")
    assert ("maria", "out", "house-7") in await answers(database)


async def test_out_ends_working(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await maria.send("7 working until 10", at=0)
    assert (await maria.said("7 out", at=5)).startswith("House 7: noted 07:15, you are out.")
    [hold] = await written(database, "holds")
    assert (hold["ended_ms"], hold["ended_by"]) == (minute(5), "Maria")


async def test_out_of_another_house_leaves_the_work_going(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await maria.send("7 working until 10", at=0)
    await maria.send("3 out", at=5)
    [hold] = await written(database, "holds")
    assert hold["ended_ms"] is None


async def test_out_of_nowhere_is_noted(farm: dict[str, Any], database: Database) -> None:
    assert (await phones(database, farm).said("out", at=5)).startswith("Noted 07:15, you are out.")


async def test_the_probe_is_named_as_the_cause(database: Database, dry: Phones) -> None:
    assert "it was the probe" in await dry.said("sonda 7", at=16)
    [alarm] = await written(database, "alarms")
    assert alarm["state"] == "acknowledged"


async def test_a_page_proves_nothing_about_the_phone_and_is_not_answered_by_text(
    database: Database, dry: Phones
) -> None:
    result = await dry.send("going", at=16, way="page", phone=None, person_id="maria")
    assert (result.result, result.delivery_id) == ("going", None)
    assert await written(database, "deliveries") == []
    [row] = await written(database, "people", person_id="maria")
    assert row["round_trip_ms"] is None


async def test_danger_in_the_room_brings_its_caution(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await begin(database, "house-7@1/people", "house-7", at=1)
    said = await maria.said("7 going", at=3)
    assert "Do not go in alone. Air out from outside, then meter at the door." in said
    assert "Danger to people is told all the same." in await maria.said("7 probe", at=4)


async def test_the_end_of_danger_sends_nobody_in_without_a_meter(database: Database, farm: dict[str, Any]) -> None:
    await begin(database, "house-7@1/people", "house-7", at=1, ended=20)
    said = await phones(database, farm).said("7 going", at=30)
    assert "Meter at the door before anyone goes in." in said
    assert "back in band" not in said


async def test_a_cooler_brings_its_caution(database: Database, farm: dict[str, Any]) -> None:
    await begin(database, "cooler@1", "cooler", at=1)
    assert "check the inside release" in await phones(database, farm).said("voy", at=3)


async def test_the_whole_farm_can_be_answered_by_name(database: Database, two_open: Phones) -> None:
    await begin(database, "site@1", None, at=12)
    assert (await two_open.said("going", at=16)).startswith("Which house? Text ")
    said = await two_open.said("farm going", at=17)
    assert said.startswith("Whole farm: you are going")
    assert "Text farm out when you are out" in said, "by the name that the texts say"
    assert "ower off and locked" in said
    assert await answers(database) == [("maria", "going", "site")]


async def test_out_of_several_houses_at_once(database: Database, two_open: Phones) -> None:
    await two_open.send("7 going", at=16)
    await two_open.send("3 going", at=17)
    assert (await two_open.said("out", at=40)).startswith("Noted 07:50, you are out of every house.")
    assert [word for _, word, _ in await answers(database)].count("out") == 2


async def test_a_text_sent_before_something_began_does_not_mean_it(database: Database, dry: Phones) -> None:
    assert (await dry.send("going", at=16, sent_ms=minute(-30))).result == "nothing"
    assert await answers(database) == []


async def test_out_after_the_working_time_ends_the_watch_over_them(
    database: Database, farm: dict[str, Any]
) -> None:
    maria = phones(database, farm)
    await maria.send("7 working until 8", at=0)
    maria.clock.set(minute(85))
    now = FactsNow(farm=farm, judge=Judge(database, farm, maria.desk.catalogue))
    await GoingWatch(database=database, farm=farm, clock=maria.clock, now=now).all_due()
    [watch] = [
        row for row in await written(database, "happenings") if row["happening_id"].startswith("out/maria@")
    ]
    assert watch["ended_ms"] is None
    assert (await maria.said("out", at=90)).startswith("House 7: noted 08:40, you are out.")
    [watch] = await written(database, "happenings", happening_id=watch["happening_id"])
    assert watch["ended_ms"] == minute(90)


async def test_whoever_looks_after_somebody_can_say_that_they_are_out(
    database: Database, farm: dict[str, Any]
) -> None:
    ben = phones(database, farm)
    await begin(database, "out/maria@1", None, at=0)
    await ben.send("going", at=5, phone=BEN)
    await ben.send("out", at=15, phone=BEN)
    [watch] = await written(database, "happenings", happening_id="out/maria@1")
    assert watch["ended_ms"] == minute(15)


async def test_what_is_said_back_goes_out_to_the_phone_it_came_from(
    database: Database, farm: dict[str, Any], dry: Phones
) -> None:
    await dry.send("7 going", at=16)
    carried = await farmyard.tell(database, farm, dry.clock)
    assert [(one.to, one.kind) for one in carried if one.kind == "answer"] == [(MARIA, "answer")]
    [text] = [one.text for one in carried if one.kind == "answer"]
    assert text.startswith("House 7: you are going, noted 07:26.")
