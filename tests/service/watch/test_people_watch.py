"""Limits for people, from readings on the disk to what is told, on both databases."""

from __future__ import annotations

from typing import Any

import pytest

from rules.alarm import State
from rules.model import Quantity
from service.errors import NotFound
from service.storage import holds, people, people_air, rooms
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.watch.judge import SETTLE_MS, Judge
from service.watch.respond import Word, answer, close_with_the_sheet
from tests.support.breathing import (
    FRESH,
    HIGH_ALL_DAY,
    HIGH_NOW,
    MORNING_ROUND,
    NIGHT,
    breathe,
    facts_of,
    grow_above_on_purpose,
    moved,
    reads_no_higher_than,
    said,
    tell,
    work_in,
)
from tests.support.watched import (
    BACK,
    DOOR,
    DRY,
    GOOD,
    ROOM,
    add_unconfirmed,
    hear,
    judge_at,
    minute,
    restart_first_days,
    watched_farm,
)
from tests.support.written import notices, written

RAISED, DEEPENED, CLEARED, ACKNOWLEDGED = (
    "condition true (after on-delay)",
    "far limit passed",
    "condition clears",
    "acknowledge",
)


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


async def over_all_day(database: Database, farm: dict[str, Any]) -> None:
    """In the night, with nobody there, the average of eight hours passes 5000 at minute 797: 97 x 25000 / 480."""
    await breathe(database, [HIGH_ALL_DAY] * 150, start=NIGHT)
    await judge_at(database, farm, NIGHT + 100)


async def answer_going(database: Database, *, at: float, person: str = "maria") -> None:
    await answer(database, 1, room_id=ROOM, person_id=person, word=Word.GOING, way="page", now_ms=minute(at))


async def test_over_the_short_term_limit_at_night_is_danger(database: Database, farm: dict[str, Any]) -> None:
    """At 40000 ppm the mean of fifteen minutes passes 30000 after twelve."""
    await breathe(database, [HIGH_NOW] * 20, start=NIGHT)
    await judge_at(database, farm, *range(NIGHT, NIGHT + 20))
    assert await moved(database) == [(RAISED, NIGHT + 12)]
    assert await said(database) == [("danger", "danger", NIGHT + 12)]
    [alarm] = await written(database, "alarms", side="people")
    assert (alarm["quantity"], alarm["side"], alarm["state"]) == ("co2", "people", State.UNACKNOWLEDGED.value)
    told = await tell(database, farm, at=NIGHT + 20)
    assert {message.to for message in told} == {"+12025550141", "+12025550142"}
    text = (
        "House 7: DANGER to people. CO2 at least 32000 ppm, 15 min average, limit 30000."
        " Do not go in alone. Air out from outside, meter at the door. Invented data."
    )
    assert {message.text for message in told} == {text}


async def test_only_time_need_pass(database: Database, farm: dict[str, Any]) -> None:
    """One reading speaks for fifteen minutes; no other comes."""
    await breathe(database, [HIGH_NOW], start=NIGHT)
    await judge_at(database, farm, NIGHT + 1, NIGHT + 11)
    assert await said(database) == []
    await judge_at(database, farm, NIGHT + 13)
    assert await said(database) == [("danger", "danger", NIGHT + 12)]


async def test_over_all_day_with_nobody_there_at_night_is_for_the_round(
    database: Database, farm: dict[str, Any]
) -> None:
    await over_all_day(database, farm)
    assert await moved(database) == [(RAISED, NIGHT + 97)]
    assert await said(database) == [("people", "round", NIGHT + 97)]
    assert await tell(database, farm, at=NIGHT + 100) == []
    [facts] = await facts_of(database, "people")
    assert (facts["level"], facts["limit"], facts["at_least"]) == ("8 hours", 5000, True)
    assert facts["coverage"] == pytest.approx(97 / 480)
    assert facts["value"] == pytest.approx(97 * HIGH_ALL_DAY / 480)


async def test_whoever_is_logged_inside_makes_it_danger_once(database: Database, farm: dict[str, Any]) -> None:
    await over_all_day(database, farm)
    await work_in(database, at=NIGHT + 102, until=NIGHT + 140, person="old-hand")
    await judge_at(database, farm, NIGHT + 103, NIGHT + 104, NIGHT + 110)
    assert (await said(database))[1:] == [("danger", "danger", NIGHT + 103)]
    await work_in(database, at=NIGHT + 112, until=NIGHT + 140, hold_id="W2", person=None, room=None)
    await judge_at(database, farm, NIGHT + 113, NIGHT + 114)
    assert (await said(database))[2:] == [("danger", "danger", NIGHT + 113)]
    assert [f["inside"] for f in await facts_of(database, "danger")] == [["old-hand"], ["W2", "old-hand"]]


async def test_whoever_is_inside_is_told_though_not_on_the_call_list(
    database: Database, farm: dict[str, Any]
) -> None:
    async with database.write() as connection:
        row = await people.person(connection, 1, "old-hand")
        await people.save_person(connection, 1, {**row, "phone": "+12025550143"})
    await work_in(database, at=NIGHT - 5, until=NIGHT + 140, person="old-hand")
    await over_all_day(database, farm)
    told = await tell(database, farm, at=NIGHT + 100)
    assert {message.to for message in told} == {"+12025550141", "+12025550142", "+12025550143"}
    assert all(" Come out. Do not go in alone." in message.text for message in told)


async def test_work_hours_tell_what_the_night_listed(database: Database, farm: dict[str, Any]) -> None:
    await breathe(database, [HIGH_ALL_DAY] * 40, start=1250, step=5)
    await judge_at(database, farm, 1360)
    assert await said(database) == [("people", "round", 1347)]
    await judge_at(database, farm, MORNING_ROUND - 1)
    assert len(await said(database)) == 1
    await judge_at(database, farm, MORNING_ROUND, MORNING_ROUND + 5)
    assert (await said(database))[1:] == [("danger", "danger", MORNING_ROUND)]


async def test_going_to_what_is_over_already_is_danger_once_and_calls_nothing_off(
    database: Database, farm: dict[str, Any]
) -> None:
    await over_all_day(database, farm)
    await answer_going(database, at=NIGHT + 101)
    [alarm] = await written(database, "alarms", side="people")
    assert alarm["state"] == State.ACKNOWLEDGED.value
    await judge_at(database, farm, NIGHT + 102, NIGHT + 103)
    assert (await said(database))[1:] == [("danger", "danger", NIGHT + 102)]
    await answer_going(database, at=NIGHT + 103, person="ben")
    told = await tell(database, farm, at=NIGHT + 104)
    assert {message.to for message in told} == {"+12025550141", "+12025550142"}


async def test_going_counts_for_two_hours_and_cannot_takes_it_back(database: Database) -> None:
    farm = await watched_farm(database)
    await over_all_day(database, farm)
    await answer_going(database, at=NIGHT + 101)
    async with database.read() as connection:
        going = await people_air.on_the_way(connection, 1, ROOM, since_ms=minute(NIGHT))
        assert going == {"maria": minute(NIGHT + 101)}
        assert await people_air.on_the_way(connection, 1, ROOM, since_ms=minute(NIGHT + 101)) == {}
    await answer(
        database, 1, room_id=ROOM, person_id="maria", word=Word.CANNOT, way="page", now_ms=minute(NIGHT + 102)
    )
    async with database.read() as connection:
        assert await people_air.on_the_way(connection, 1, ROOM, since_ms=minute(NIGHT)) == {}


async def test_a_probe_at_its_top_is_marked_and_wakes_nobody_unless_somebody_is_there(
    database: Database, farm: dict[str, Any]
) -> None:
    await reads_no_higher_than(database, 10_000)
    await breathe(database, [10_000.0] * 30, start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    assert await said(database) == [("people", "round", NIGHT + 15)]
    await work_in(database, at=NIGHT + 21, until=NIGHT + 60)
    await judge_at(database, farm, NIGHT + 22)
    assert (await said(database))[1:] == [("danger", "danger", NIGHT + 22)]
    told = await tell(database, farm, at=NIGHT + 22)
    assert told[0].text.startswith("House 7: DANGER. CO2 at least 10000 ppm, maybe over limit 30000. Come out.")


async def test_nothing_holds_it_back(database: Database, farm: dict[str, Any]) -> None:
    """Not first days, not figures nobody stands for, not "working", not "leave until"."""
    await restart_first_days(database)
    await add_unconfirmed(database)
    await work_in(database, at=NIGHT - 10, until=NIGHT + 200, hold_id="L1", person=None, kind=holds.LEAVE)
    await work_in(database, at=NIGHT - 10, until=NIGHT + 200)
    await breathe(database, [HIGH_NOW] * 20, start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    assert await moved(database) == [(RAISED, NIGHT + 12)]
    assert await said(database) == [("danger", "danger", NIGHT + 12)]


async def test_a_stage_grown_above_on_purpose_is_told_of_only_with_somebody_inside(
    database: Database, farm: dict[str, Any]
) -> None:
    await grow_above_on_purpose(database)
    await breathe(database, [HIGH_ALL_DAY] * 30, start=NIGHT, step=5)
    await judge_at(database, farm, NIGHT + 100, NIGHT + 101)
    assert await said(database) == []
    assert await written(database, "alarms", side="people") == []
    await work_in(database, at=NIGHT + 102, until=NIGHT + 110)
    await judge_at(database, farm, NIGHT + 103, NIGHT + 104)
    assert await said(database) == [("danger", "danger", NIGHT + 103)]
    assert await moved(database) == [(RAISED, NIGHT + 103)]
    await judge_at(database, farm, NIGHT + 111)
    assert (await said(database))[1:] == [("back", "round", NIGHT + 111)]
    [facts] = await facts_of(database, "back")
    assert facts["still_above"]


async def test_under_the_limit_again_is_told_to_those_who_were_told(
    database: Database, farm: dict[str, Any]
) -> None:
    await breathe(database, [*[HIGH_NOW] * 20, *[FRESH] * 40], start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    assert len(await tell(database, farm, at=NIGHT + 20)) == 2
    await judge_at(database, farm, NIGHT + 60)
    assert await moved(database) == [(RAISED, NIGHT + 12), (CLEARED, NIGHT + 25)]
    told = await tell(database, farm, at=NIGHT + 60)
    text = (
        "House 7: CO2 800 ppm, under the people limit since 19:15."
        " Measure with a meter at the door before anyone goes in. Invented data."
    )
    assert {message.text for message in told} == {text}
    [happening] = [h for h in await written(database, "happenings") if h["happening_id"].endswith("/people")]
    assert (happening["woke"], happening["ended_ms"], happening["closed_ms"]) == (1, minute(NIGHT + 25), None)
    assert await close_with_the_sheet(database, 1, before_ms=minute(NIGHT + 61), now_ms=minute(NIGHT + 61)) == 2
    assert await written(database, "alarms", side="people") == []


async def test_a_text_of_danger_has_no_end_of_use(database: Database, farm: dict[str, Any]) -> None:
    await breathe(database, [HIGH_NOW] * 20, start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    assert len(await tell(database, farm, at=NIGHT + 600)) == 2


async def test_what_was_over_and_is_not_when_we_hear_of_it_is_for_the_round(
    database: Database, farm: dict[str, Any]
) -> None:
    await judge_at(database, farm, NIGHT)
    await breathe(database, [*[HIGH_NOW] * 20, *[FRESH] * 100], start=NIGHT)
    await judge_at(database, farm, NIGHT + 120)
    assert await said(database) == [("people", "round", NIGHT + 12), ("back", "round", NIGHT + 25)]
    [facts] = await facts_of(database, "people")
    assert facts["learned_late"]


async def test_readings_that_come_late_are_taken_while_they_matter(
    database: Database, farm: dict[str, Any]
) -> None:
    await breathe(database, [FRESH] * 120, start=NIGHT)
    await judge_at(database, farm, NIGHT + 60, NIGHT + 120)
    await breathe(database, [HIGH_NOW] * 40, start=NIGHT + 80, probe=BACK)
    await judge_at(database, farm, NIGHT + 121)
    assert await said(database) == [("danger", "danger", NIGHT + 120)]


async def test_one_probe_that_is_taken_out_speaks_no_longer(database: Database, farm: dict[str, Any]) -> None:
    await breathe(database, [FRESH] * 60, start=NIGHT, probe=BACK)
    await breathe(database, [HIGH_NOW] * 20, start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    await judge_at(database, farm, NIGHT + 50)
    assert await moved(database) == [(RAISED, NIGHT + 12)]
    async with database.write() as connection:
        out = {"probe_id": DOOR, "room_id": None, "place": "", "valid_from_ms": minute(NIGHT + 50)}
        await rooms.place_probe(connection, 1, {**out, "recorded_ms": minute(NIGHT + 50), "who": "Ines"})
    await judge_at(database, farm, NIGHT + 75)
    assert [happens for happens, _ in await moved(database)] == [RAISED, CLEARED]


async def test_the_crop_and_the_people_have_each_their_own_happening(
    database: Database, farm: dict[str, Any]
) -> None:
    farm |= {"people_8h_ppm": 20.0}
    await hear(database, [*[DRY] * 20, *[GOOD] * 40], start=NIGHT)
    await breathe(database, [FRESH] * 60, start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    keys = ("quantity", "side", "state")
    assert {tuple(row[k] for k in keys) for row in await written(database, "alarms")} == {
        ("humidity", "low", State.UNACKNOWLEDGED.value),
        ("co2", "people", State.UNACKNOWLEDGED.value),
    }
    assert len(await written(database, "happenings")) == 2
    await answer_going(database, at=NIGHT + 21)
    assert {row["state"] for row in await written(database, "alarms")} == {State.ACKNOWLEDGED.value}
    await judge_at(database, farm, NIGHT + 50)
    assert [n["telling"] for n in await notices(database, kind="back")] == ["wake"]
    assert [row["side"] for row in await written(database, "alarms")] == ["people"]


@pytest.mark.parametrize("every", [3, 20, 140])
async def test_judging_now_and_then_moves_as_judging_often_does(
    database: Database, farm: dict[str, Any], every: int
) -> None:
    values = [*[HIGH_NOW] * 14, *[FRESH] * 30, *[HIGH_ALL_DAY] * 90]
    await breathe(database, values, start=NIGHT)
    await judge_at(database, farm, *range(NIGHT, NIGHT + 141, every))
    assert await moved(database) == [
        (RAISED, NIGHT + 12),
        (CLEARED, NIGHT + 19),
        ("condition true again", NIGHT + 117),
    ]


async def test_a_farms_own_limits_are_what_it_is_judged_by(database: Database) -> None:
    farm = await watched_farm(database)
    farm |= {"people_8h_ppm": 100.0, "people_15min_ppm": 2000.0, "people_ceiling_ppm": 3000.0}
    await breathe(database, [*[FRESH] * 70, 3500.0], start=0)
    await judge_at(database, farm, 5, 70, 71)
    assert await moved(database) == [(RAISED, 61), (DEEPENED, 70)]
    assert await said(database) == [("danger", "danger", 61), ("danger", "danger", 70)]
    assert [f["limit"] for f in await facts_of(database, "danger")] == [100, 3000]


async def test_whoever_goes_into_a_room_that_fell_silent_over_a_limit_is_told_what_was_heard_last(
    database: Database, farm: dict[str, Any]
) -> None:
    await breathe(database, [HIGH_NOW] * 20, start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    await work_in(database, at=NIGHT + 60, until=NIGHT + 90)
    await judge_at(database, farm, NIGHT + 61)
    told = await tell(database, farm, at=NIGHT + 61)
    assert {message.text.partition(" Come out.")[0] for message in told} >= {
        "House 7: DANGER. CO2 at least 40000 ppm, 15 min limit 30000."
    }


async def test_a_room_without_co2_is_left_alone(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [15.0] * 20, quantity=Quantity.TEMPERATURE)
    await judge_at(database, farm, 20)
    [row] = await written(database, "judgements", room_id=ROOM)
    assert (row["people_ms"], row["people_state"]) == (None, None)


async def test_a_room_over_a_limit_is_due_though_nothing_new_is_heard(
    database: Database, farm: dict[str, Any]
) -> None:
    await over_all_day(database, farm)
    judge = Judge(database, farm, Catalogue(1))
    assert ROOM in await judge.rooms_due(minute(NIGHT + 100) - SETTLE_MS)
    await work_in(database, at=NIGHT + 101, until=NIGHT + 160)
    await judge.judge(ROOM, until_ms=minute(NIGHT + 100) - SETTLE_MS, now_ms=minute(NIGHT + 130))
    assert (await said(database))[-1] == ("danger", "danger", NIGHT + 130)


async def test_the_top_of_a_probe_nobody_heard_of_cannot_be_set(database: Database, farm: dict[str, Any]) -> None:
    with pytest.raises(NotFound):
        await reads_no_higher_than(database, 5000, probe="nobody")
