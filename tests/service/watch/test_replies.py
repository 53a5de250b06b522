"""Answers by text: what each does, what is said back, and what moves nothing."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from service.storage.database import Database
from service.storage.tables import trials
from service.watch.going_watch import GoingWatch
from service.watch.judge import Judge
from service.watch.open_things import open_things
from tests.support.replying import (
    BEN,
    MARIA,
    STRANGER,
    Phones,
    begin,
    change_person,
    phones,
    tell,
)
from tests.support.watched import (
    DRY_HALF_HOUR,
    add_batch,
    hear,
    judge_at,
    minute,
    watched_farm,
)
from tests.support.written import written

# Minute 0 is 07:10 on the farm's clock.


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


@pytest.fixture
async def dry(database: Database, farm: dict[str, Any]) -> Phones:
    """House 7 is dry since minute 5, and told since minute 13; it is minute 15."""
    await hear(database, DRY_HALF_HOUR[:16])
    await judge_at(database, farm, 15)
    return phones(database, farm)


@pytest.fixture
async def two_open(database: Database, dry: Phones) -> Phones:
    """House 3 has trouble as well."""
    await begin(database, "house-3@1", "house-3", at=10)
    return dry


async def answers(database: Database) -> list[tuple[str, str, str]]:
    rows = await written(database, "answers")
    return [(row["person_id"], row["word"], row["happening_id"].partition("@")[0]) for row in rows]


async def test_going_is_taken_confirmed_and_stops_the_telling(database: Database, dry: Phones) -> None:
    said = await dry.said("7 going", at=16)
    assert said == "House 7: you are going, noted 07:26. Text 7 out when you are out. Invented data."
    assert await answers(database) == [("maria", "going", "house-7")]
    [alarm] = await written(database, "alarms")
    assert alarm["state"] == "acknowledged"
    [row] = await written(database, "inbound")
    assert (row["person_id"], row["word"], row["result"]) == ("maria", "going", "going")
    assert row["happening_id"] == (await written(database, "answers"))[0]["happening_id"]


async def test_the_same_text_twice_is_taken_once(database: Database, dry: Phones) -> None:
    first = await dry.send("going", at=16, inbound_id="same")
    again = await dry.send("going", at=17, inbound_id="same")
    assert (again.result, again.happening_id) == ("going", first.happening_id)
    assert again.delivery_id is None
    assert len(await written(database, "answers")) == 1
    assert len(await written(database, "inbound")) == 1
    assert len(await written(database, "deliveries", person_id="maria")) == 1


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


async def test_spanish_is_answered_in_the_persons_language(database: Database, dry: Phones) -> None:
    await change_person(database, "maria", language="es")
    assert await dry.said("ya voy", at=16) == (
        "House 7: usted va, anotado 07:26. Al salir escriba 7 fuera. Datos inventados."
    )


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


@pytest.mark.parametrize(
    ("text", "until"),
    [("7 working until 10", 170), ("trabajo 7 hasta las 10:30", 200), ("working 7 until 6 pm", 650)],
)
async def test_working_by_text_holds_until_the_next_such_time(
    database: Database, farm: dict[str, Any], text: str, until: float
) -> None:
    said = await phones(database, farm).said(text, at=0)
    assert "danger to people does not" in said
    [hold] = await written(database, "holds")
    assert (hold["kind"], hold["room_id"], hold["person_id"]) == ("working", "house-7", "maria")
    assert hold["until_ms"] == minute(until)


async def test_working_everywhere_is_one_hold_for_all_rooms(database: Database, farm: dict[str, Any]) -> None:
    said = await phones(database, farm).said("trabajo todo hasta 10:30", at=0)
    assert said.startswith("All houses: working until 10:30")
    [hold] = await written(database, "holds")
    assert hold["room_id"] is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("working until 10", "Which house, until when? Text 7 working until 10."),
        ("7 working", "Until when? Text 7 working until 10."),
        ("all working", "Until when? Text working all until 10."),
        ("7 working until 07:00", "Not noted: that is past, or more than 12 h ahead. Text 7 working until 10."),
    ],
)
async def test_working_that_lacks_something_is_asked_for(
    database: Database, farm: dict[str, Any], text: str, said: str
) -> None:
    assert (await phones(database, farm).said(text, at=0)).startswith(said)
    assert await written(database, "holds") == []


async def test_a_later_stage_is_written_down(database: Database, farm: dict[str, Any]) -> None:
    said = await phones(database, farm).said("7 fruiting", at=3)
    assert said == "House 7: fruiting from 07:13 on. Its limits are those of fruiting now. Invented data."
    stay = (await written(database, "stays", batch_id="SH-41"))[-1]
    assert (stay["stage"], stay["room_id"], stay["who"], stay["valid_from_ms"]) == (
        "fruiting",
        "house-7",
        "Maria",
        minute(3),
    )


async def test_after_rest_the_next_flush_may_begin(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await maria.send("7 rest", at=1)
    assert (await maria.send("7 pines", at=2)).result == "stage"


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("7 pins", "stage, not later"),
        ("7 browning", "stage, not later"),
        ("7 antlers", "stage, unknown"),
        ("pins", "stage where"),
    ],
)
async def test_a_stage_that_does_not_follow_is_refused(
    database: Database, farm: dict[str, Any], text: str, result: str
) -> None:
    before = await written(database, "stays")
    assert (await phones(database, farm).send(text, at=1)).result == result
    assert await written(database, "stays") == before


async def test_with_several_batches_the_stage_is_changed_on_the_page(
    database: Database, farm: dict[str, Any]
) -> None:
    await add_batch(database, "SH-42", at=0)
    before = await written(database, "stays")
    assert (await phones(database, farm).send("7 fruiting", at=1)).result == "stage, several"
    assert await written(database, "stays") == before


async def test_why_gives_the_five_facts(dry: Phones) -> None:
    said = await dry.said("why", at=16)
    assert said.startswith("House 7 humidity: limit 85%, set by Ines ")
    assert "Read 80%" in said
    assert "Told after 8 min. Probe door end." in said


async def test_why_asks_which_when_several_are_open(two_open: Phones) -> None:
    assert (await two_open.said("por qué", at=16)).startswith("Which house? Text 7 why or 3 why.")
    assert (await two_open.send("why 7", at=16)).result == "why"


async def test_status_lists_what_is_open_and_how_lately_probes_were_heard(
    database: Database, two_open: Phones
) -> None:
    said = await two_open.said("status", at=16)
    assert "House 7 humidity low" in said
    assert "House 3" in said
    assert "never heard" in said or "last heard" in said


async def test_status_with_nothing_open_does_not_say_that_all_is_well(
    database: Database, farm: dict[str, Any]
) -> None:
    said = await phones(database, farm).said("estado", at=1)
    assert said.startswith("Nothing open at 07:11.")


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


async def test_a_page_proves_nothing_about_the_phone_and_is_not_answered_by_text(
    database: Database, dry: Phones
) -> None:
    result = await dry.send("going", at=16, way="page", phone=None, person_id="maria")
    assert (result.result, result.delivery_id) == ("going", None)
    assert await written(database, "deliveries") == []
    [row] = await written(database, "people", person_id="maria")
    assert row["round_trip_ms"] is None


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
    said = await two_open.said("site going", at=17)
    assert said.startswith("Whole farm: you are going")
    assert "ower off and locked" in said
    assert await answers(database) == [("maria", "going", "site")]


async def test_any_odd_text_is_kept_and_breaks_nothing(database: Database, dry: Phones) -> None:
    for text in ("\x00", "\N{PILE OF POO}" * 400, "7" * 5000, "a\u202eb", "\ud800 7 going"):
        await dry.send(text, at=16)
    rows = await written(database, "inbound")
    assert [row["result"] for row in rows] == ["help", *["not understood"] * 3, "going"]
    assert max(len(row["text"]) for row in rows) == 2000


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
    await GoingWatch(
        database=database, farm=farm, clock=maria.clock, judge=Judge(database, farm, maria.desk.catalogue)
    ).all_due()
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


async def test_nothing_is_sent_back_to_a_phone_that_wants_no_texts(database: Database, dry: Phones) -> None:
    await change_person(database, "maria", opted_out_ms=minute(0))
    result = await dry.send("7 going", at=16)
    assert (result.result, result.delivery_id) == ("going", None)
    assert (await dry.send("what is this", at=17)).delivery_id is None


async def test_why_behind_a_limit_for_people_names_the_average(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await begin(database, "house-7@1/people", "house-7", at=1)
    facts = {"quantity": "co2", "side": "people", "level": "15 minutes", "limit": 30000.0, "value": 31000.0}
    await tell(database, "maria", "house-7@1/people", at=2, kind="danger", facts=facts)
    said = await maria.said("why", at=16)
    assert said.startswith("House 7 CO2: people limit 30000 ppm, the usual figure. ")
    assert "Average of 15 min." in said
    farm["people_15min_ppm"] = 30000.0
    assert (await maria.said("why", at=17)).startswith("House 7 CO2: people limit 30000 ppm, set by Ines. ")


async def test_why_without_a_limit_behind_it_says_what_is_open(database: Database, farm: dict[str, Any]) -> None:
    maria = phones(database, farm)
    await begin(database, "site@1", None, at=1)
    await tell(database, "maria", "site@1", at=2, kind="site", facts={"what": "power"})
    assert (await maria.said("why", at=16)).startswith("Open: Whole farm 15 min.")
