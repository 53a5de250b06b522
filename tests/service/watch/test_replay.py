"""Stored history judged once more tells what was told at the time: on both databases, by the real judge."""

from __future__ import annotations

import json
from random import Random
from typing import Any

import pytest

from rules.model import MINUTE_MS, Instant, Quantity, Side
from rules.profile_parser import parse_profile
from rules.trial import Trial
from service.errors import NotUnderstood
from service.storage import crops, rooms, usuals
from service.storage.database import Database
from service.storage.outbox import OF_LIMITS
from service.storage.usuals import UsualRow
from service.watch.catalogue import Catalogue
from service.watch.holds import Holding, Left
from service.watch.judge import SETTLE_MS
from service.watch.replay import Changed, Replay, Replayed
from service.watch.respond import Word, answer
from tests.support.watched import (
    BACK,
    DOOR,
    DRY,
    GOOD,
    ROOM,
    VERY_DRY,
    change_stage,
    hear,
    judge_at,
    minute,
    restart_first_days,
    watched_farm,
)
from tests.support.written import notices, written

UNCHANGED = Changed()
RESTLESS = (70.0, 84.0, 84.9, 87.9, 88.0, 90.0, 92.0, 95.0, 97.0, 99.0, 100.0)
HUMIDITY_LOW = (Quantity.HUMIDITY, Side.LOW)


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


async def replayed(
    database: Database,
    farm: dict[str, Any],
    *,
    begin: float = -60,
    end: float = 10_000,
    changed: Changed = UNCHANGED,
) -> Replayed:
    async with database.read() as connection:
        again = Replay(connection=connection, farm=farm, catalogue=Catalogue(farm["farm_id"]))
        room = await rooms.room(connection, farm["farm_id"], ROOM)
        return await again.room(room, from_ms=minute(begin), to_ms=minute(end), changed=changed)


def moved(rows: Any) -> list[tuple[str, str, str, str, str, float]]:
    """Moves of alarms by rule: what, from, to, and at which minute."""
    return sorted(
        (
            r["quantity"],
            r["side"],
            r["happens"],
            r["from_state"],
            r["to_state"],
            (r["at_ms"] - minute(0)) / MINUTE_MS,
        )
        for r in rows
        if r["who"] == "Houseband"
    )


def said(rows: Any) -> list[tuple[str, str, Any]]:
    """Notices of limits; that somebody is going is no matter of limits."""
    return sorted((r["notice_key"], r["telling"], _plain(r["facts"])) for r in rows if r["kind"] in OF_LIMITS)


def _plain(facts: Any) -> str:
    return json.dumps(json.loads(facts) if isinstance(facts, str) else facts, sort_keys=True)


async def is_as_told(database: Database, farm: dict[str, Any]) -> int:
    """Compare, and say how many notices there were."""
    again = await replayed(database, farm)
    assert moved(again.transitions) == moved(await written(database, "transitions"))
    assert said(again.notices) == said(await notices(database))
    return len(again.notices)


async def test_a_dip_is_told_again_as_it_was_told(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 20, *[VERY_DRY] * 10, *[GOOD] * 25])
    await hear(database, [15.5] * 60, quantity=Quantity.TEMPERATURE)
    await judge_at(database, farm, *range(1, 62, 3))

    assert await is_as_told(database, farm) >= 3


async def test_late_by_less_than_the_settling_time_changes_nothing(
    database: Database, farm: dict[str, Any]
) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 20, *[GOOD] * 35], late_ms=14_000)
    await hear(database, [*[GOOD] * 30, *[DRY] * 30], probe=BACK, start=0.4)
    await judge_at(database, farm, *(n / 2 for n in range(1, 130)))

    assert await is_as_told(database, farm) >= 3


@pytest.mark.parametrize("seed", [1, 4, 6])
async def test_a_restless_room_is_told_again_as_it_was_told(
    database: Database, farm: dict[str, Any], seed: int
) -> None:
    """Both probes dwell and jump, are away now and then, and the room is looked at whenever somebody pleases."""
    chance = Random(seed)
    for probe, step in ((DOOR, 1.0), (BACK, 1.7)):
        course = [value for _ in range(14) for value in [chance.choice(RESTLESS)] * chance.randint(1, 14)]
        here = [n for n in range(len(course)) if chance.random() > 0.1]
        for n in here:
            await hear(
                database, [course[n]], start=n * step, probe=probe, late_ms=chance.randrange(SETTLE_MS - 1000)
            )
    moments = sorted(chance.uniform(0, 190) for _ in range(120))
    await judge_at(database, farm, *moments, 200)

    assert await is_as_told(database, farm) >= 3


async def test_stage_change_working_and_what_is_usual_are_taken_as_they_were(
    database: Database, farm: dict[str, Any]
) -> None:
    """Pins, then rest at noon of the third hour; somebody works in between; a usual value raises the limit."""
    steps = tuple((minute(at), value) for at, value in [(0, 97.0), (60, 90.0), (120, None)])
    row = UsualRow(
        quantity=Quantity.HUMIDITY, made_ms=minute(-10), from_ms=minute(0), until_ms=minute(600), steps=steps
    )
    async with database.write() as connection:
        await usuals.add_usual(connection, farm["farm_id"], ROOM, row)
    await change_stage(database, "rest", at=200)
    course = [*[GOOD] * 20, *[83.5] * 30, *[GOOD] * 20, *[DRY] * 40, *[GOOD] * 50, *[VERY_DRY] * 70]
    await hear(database, course)
    await judge_at(database, farm, *range(1, 75))
    async with database.write() as connection:
        holding = Holding(connection=connection, farm_id=farm["farm_id"], now_ms=minute(75))
        await holding.working(ROOM, "maria", minute(95))
    await judge_at(database, farm, *range(76, 170))
    async with database.write() as connection:
        holding = Holding(connection=connection, farm_id=farm["farm_id"], now_ms=minute(170))
        await holding.leave(ROOM, Left(until_ms=minute(190), why="the mist is being mended", who="Ines"))
    await judge_at(database, farm, *range(171, 240))

    assert await is_as_told(database, farm) >= 4


async def test_what_people_answered_is_in_the_moves(database: Database, farm: dict[str, Any]) -> None:
    """After "going" the alarm goes back to normal at its end; unanswered, it waits for an answer."""
    await hear(database, [*[GOOD] * 5, *[DRY] * 20, *[GOOD] * 20, *[DRY] * 20, *[GOOD] * 20])
    await judge_at(database, farm, *range(1, 18))
    await answer(
        database, farm["farm_id"], room_id=ROOM, person_id="maria", word=Word.GOING, way="api", now_ms=minute(18)
    )
    await judge_at(database, farm, *range(19, 90))

    assert await is_as_told(database, farm) >= 4


async def test_a_probe_that_is_taken_out_no_longer_speaks(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 25])
    await hear(database, [GOOD] * 60, probe=BACK)
    await judge_at(database, farm, *range(1, 30))
    async with database.write() as connection:
        values = {"probe_id": "h7-door", "room_id": None, "place": "", "valid_from_ms": minute(30)}
        await rooms.place_probe(connection, farm["farm_id"], {**values, "recorded_ms": minute(30), "who": "Ines"})
    await judge_at(database, farm, *range(30, 60))

    again = await replayed(database, farm)
    assert [(r["kind"], r["telling"]) for r in again.notices] == [("trouble", "wake"), ("back", "wake")]
    live = await notices(database)
    assert [(r["kind"], r["telling"]) for r in sorted(live, key=lambda r: r["at_ms"])] == [
        ("trouble", "wake"),
        ("back", "wake"),
    ]
    # The judge lets go of it where it stands when it hears of it, a settling time earlier.
    assert [abs(a["at_ms"] - b["at_ms"]) <= MINUTE_MS for a, b in zip(again.notices, live, strict=True)] == [
        True
    ] * 2


async def test_when_the_first_days_end_what_is_open_is_told(database: Database, farm: dict[str, Any]) -> None:
    await restart_first_days(database, end=30)
    await hear(database, [*[GOOD] * 5, *[DRY] * 60])
    await judge_at(database, farm, *range(1, 65))

    again = await replayed(database, farm)
    assert [(r["kind"], r["telling"]) for r in again.notices] == [("trouble", "round"), ("trouble", "wake")]
    assert [(r["kind"], r["telling"]) for r in sorted(await notices(database), key=lambda r: r["at_ms"])] == [
        ("trouble", "round"),
        ("trouble", "wake"),
    ]
    assert moved(again.transitions) == moved(await written(database, "transitions"))


async def test_a_stay_that_was_written_down_late_was_not_known_before(
    database: Database, farm: dict[str, Any]
) -> None:
    """At minute 60 somebody writes down that the batch rests since minute 10: what was told stays told."""
    await hear(database, [*[GOOD] * 20, *[DRY] * 100])
    await judge_at(database, farm, *range(1, 60))
    await written_late(database, farm, "rest", since=minute(10), recorded=minute(60))
    await judge_at(database, farm, *range(60, 120))

    again = await replayed(database, farm)
    first = [r for r in again.notices if r["at_ms"] < minute(59)]
    assert said(first) == said(r for r in await notices(database) if r["at_ms"] < minute(59))
    assert [r["kind"] for r in first] == ["trouble"]
    assert {r["kind"] for r in again.notices} == {r["kind"] for r in await notices(database)}


async def written_late(
    database: Database, farm: dict[str, Any], stage: str, *, since: Instant, recorded: Instant
) -> None:
    async with database.write() as connection:
        stay = {"batch_id": "SH-41", "valid_from_ms": since, "recorded_ms": recorded, "room_id": ROOM}
        await crops.add_stay(connection, farm["farm_id"], {**stay, "stage": stage, "who": "Ines"})


# --- with other figures ---------------------------------------------------------------------------------------


async def test_another_limit_or_wait_tells_something_else(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 20, *[GOOD] * 35])
    await judge_at(database, farm, 60)

    def texts(again: Replayed) -> list[tuple[str, float]]:
        return [(r["kind"], (r["at_ms"] - minute(0)) / MINUTE_MS) for r in again.notices if r["kind"] != "back"]

    quiet = Changed(trials=[Trial(key=HUMIDITY_LOW, limit=79.0)])
    slow = Changed(trials=[Trial(key=HUMIDITY_LOW, wait_ms=15 * MINUTE_MS)])
    assert texts(await replayed(database, farm)) == [("trouble", 13)]
    assert texts(await replayed(database, farm, changed=quiet)) == []
    assert texts(await replayed(database, farm, changed=slow)) == [("trouble", 20)]


async def test_a_changed_profile_stands_in_for_the_one_the_room_had(
    database: Database, farm: dict[str, Any]
) -> None:
    await hear(database, [*[GOOD] * 5, *[DRY] * 20, *[GOOD] * 35])
    await judge_at(database, farm, 60)
    async with database.read() as connection:
        row = await crops.profile(connection, farm["farm_id"], "shiitake")
        other = await crops.profile(connection, farm["farm_id"], "grey_oyster")
    same = parse_profile(row["body"], file="shiitake.toml")

    assert len((await replayed(database, farm, changed=Changed(profile=same))).notices) == 2
    with pytest.raises(NotUnderstood, match="the room grew no grey_oyster"):
        await replayed(database, farm, changed=Changed(profile=parse_profile(other["body"], file="o.toml")))
    lacking = parse_profile(row["body"].replace("stages.pinning", "stages.pegging"), file="shiitake.toml")
    with pytest.raises(NotUnderstood, match="shiitake has no stage 'pinning'"):
        await replayed(database, farm, changed=Changed(profile=lacking))


async def test_a_span_before_the_room_was_there_holds_nothing(database: Database, farm: dict[str, Any]) -> None:
    again = await replayed(database, farm, begin=-60 * 24 * 40, end=-60 * 24 * 30)
    assert (again.transitions, again.notices) == ((), ())
