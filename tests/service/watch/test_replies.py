"""Texts that come in: from whom, understood or not, and how often anything is said back."""

from __future__ import annotations

from typing import Any

import pytest

from service.storage.database import Database
from service.storage.tables import trials
from tests.support import farmyard
from tests.support.replying import MARIA, STRANGER, Phones, answers, begin, change_person, dry_house, phones, tell
from tests.support.watched import minute, watched_farm
from tests.support.written import written

# Minute 0 is 07:10 on the farm's clock.


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


@pytest.fixture
async def dry(database: Database, farm: dict[str, Any]) -> Phones:
    return await dry_house(database, farm)


async def test_the_same_text_twice_is_taken_once(database: Database, dry: Phones) -> None:
    first = await dry.send("going", at=16, inbound_id="same")
    again = await dry.send("going", at=17, inbound_id="same")
    assert (again.result, again.happening_id) == ("going", first.happening_id)
    assert again.delivery_id is None
    assert len(await written(database, "answers")) == 1
    assert len(await written(database, "inbound")) == 1
    assert len(await written(database, "deliveries", person_id="maria")) == 1


async def test_spanish_is_answered_in_the_persons_language(database: Database, dry: Phones) -> None:
    await change_person(database, "maria", language="es")
    assert await dry.said("ya voy", at=16) == (
        "House 7: usted va, anotado 07:26. Al salir escriba 7 fuera. Datos inventados."
    )


async def test_a_reply_proves_the_way_there_and_back_and_answers_what_was_tried(
    database: Database, farm: dict[str, Any]
) -> None:
    trial = {"trial_id": "t1", "person_id": "maria", "kind": "weekly", "at_ms": minute(0), "delivery_id": "d"}
    async with database.write() as connection:
        await connection.execute(trials.insert().values({**trial, "farm_id": 1}))
    assert (await phones(database, farm).said("HERE", at=4)).startswith("Noted 07:14: your answers reach us.")
    [row] = await written(database, "people", person_id="maria")
    assert row["round_trip_ms"] == minute(4)
    [tried] = await written(database, "trials")
    assert (tried["answered_ms"], tried["answered_by"]) == (minute(4), "maria")


@pytest.mark.parametrize("text", ["7 going", "STOP", "help", "who is this", ""])
async def test_a_number_that_is_nobodys_gets_no_answer_and_moves_nothing(
    database: Database, dry: Phones, text: str
) -> None:
    result = await dry.send(text, at=16, phone=STRANGER)
    assert (result.result, result.person_id, result.delivery_id) == ("nobody's number", None, None)
    assert await answers(database) == []
    assert await written(database, "deliveries") == []
    [row] = await written(database, "inbound")
    assert (row["phone"], row["person_id"], row["result"]) == (STRANGER, None, "nobody's number")


async def test_whoever_has_left_is_nobody(database: Database, dry: Phones) -> None:
    await change_person(database, "maria", active=0)
    assert (await dry.send("7 going", at=16)).result == "nobody's number"


async def test_numbers_are_compared_by_their_digits(dry: Phones) -> None:
    assert (await dry.send("status", at=16, phone="1 (202) 555-0141")).person_id == "maria"
    assert (await dry.send("status", at=16, phone="2025550141")).person_id is None
    assert (await dry.send("status", at=16, phone="")).person_id is None


async def test_of_two_people_with_one_phone_the_one_told_last_is_meant(database: Database, dry: Phones) -> None:
    await change_person(database, "ben", phone=MARIA)
    await begin(database, "house-7@1", "house-7", at=1)
    await tell(database, "maria", "house-7@1", at=2)
    await tell(database, "ben", "house-7@1", at=3)
    assert (await dry.send("7 going", at=16)).person_id == "ben"
    await tell(database, "maria", "house-7@1", at=17)
    assert (await dry.send("7 going", at=18)).person_id == "maria"


async def test_what_is_not_understood_gets_one_short_help_an_hour(database: Database, dry: Phones) -> None:
    said = await dry.said("wrong number", at=16)
    assert said.startswith("Not understood. Text house and word: 7 going, cannot, out")
    for at in (17, 40, 75):
        result = await dry.send("I am driving and will call you back later", at=at)
        assert (result.result, result.delivery_id) == ("not understood", None)
    assert (await dry.send("who is this", at=77)).result == "help"
    assert await answers(database) == []


async def test_two_machines_do_not_talk_all_night(database: Database, dry: Phones) -> None:
    for at in range(16, 16 + 4 * 60, 10):
        await dry.send("Away from my phone until Monday.", at=at)
    assert len(await written(database, "deliveries", person_id="maria")) == 4


async def test_our_own_words_coming_back_are_not_answered(database: Database, dry: Phones) -> None:
    ours = "House 7 shiitake, pins day 2: humidity 78%, under limit 85% for 8 min. Reply 7 going or 7 cannot"
    await begin(database, "house-7@1", "house-7", at=1)
    await tell(database, "maria", "house-7@1", at=2, text=ours)
    for text in (ours, f'Liked "{ours}"', f"Fwd: {ours}"):
        result = await dry.send(text, at=16)
        assert (result.result, result.delivery_id) == ("our own words", None)
    assert (await dry.send(f"7 going\n{ours}", at=17)).result == "going"


async def test_no_more_texts_is_told_to_whoever_runs_the_farm(database: Database, farm: dict[str, Any]) -> None:
    await change_person(database, "ben", manager=1)
    maria = phones(database, farm)
    result = await maria.send("STOP", at=3)
    assert (result.result, result.delivery_id) == ("opted out", None)
    [row] = await written(database, "people", person_id="maria")
    assert row["opted_out_ms"] == minute(3)
    [told] = await written(database, "deliveries")
    assert (told["person_id"], told["way"]) == ("ben", "text")
    assert "Maria" in await maria.words(told["delivery_id"])
    await maria.send("stop", at=4)
    assert len(await written(database, "deliveries")) == 1


async def test_a_manager_who_reads_mail_is_told_by_mail(database: Database, farm: dict[str, Any]) -> None:
    await change_person(database, "ben", manager=1, way="mail")
    await phones(database, farm).send("BAJA", at=3)
    [told] = await written(database, "deliveries")
    assert (told["person_id"], told["way"]) == ("ben", "mail")


async def test_texts_again_clears_it(database: Database, farm: dict[str, Any]) -> None:
    await change_person(database, "maria", opted_out_ms=minute(0))
    assert (await phones(database, farm).said("START", at=3)).startswith(
        "Noted 07:13: texts go to this phone again."
    )
    [row] = await written(database, "people", person_id="maria")
    assert row["opted_out_ms"] is None


async def test_yes_is_no_answer_of_ours(database: Database, dry: Phones) -> None:
    assert (await dry.send("YES", at=16)).result == "help"
    assert await answers(database) == []


async def test_any_odd_text_is_kept_and_breaks_nothing(database: Database, dry: Phones) -> None:
    for text in ("\x00", "\N{PILE OF POO}" * 400, "7" * 5000, "a\u202eb", "\ud800 7 going"):
        await dry.send(text, at=16)
    rows = await written(database, "inbound")
    assert [row["result"] for row in rows] == ["help", *["not understood"] * 3, "going"]
    assert max(len(row["text"]) for row in rows) == 2000


async def test_nothing_is_sent_back_to_a_phone_that_wants_no_texts(database: Database, dry: Phones) -> None:
    await change_person(database, "maria", opted_out_ms=minute(0))
    result = await dry.send("7 going", at=16)
    assert (result.result, result.delivery_id) == ("going", None)
    assert (await dry.send("what is this", at=17)).delivery_id is None


async def test_what_is_said_back_too_late_is_not_sent_as_if_new(
    database: Database, farm: dict[str, Any], dry: Phones
) -> None:
    await dry.send("7 going", at=16)
    dry.clock.set(minute(60))
    carried = await farmyard.tell(database, farm, dry.clock)
    assert [one for one in carried if one.kind == "answer"] == []
    assert [row["state"] for row in await written(database, "deliveries", person_id="maria")] == ["missed"]
