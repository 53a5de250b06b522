"""A person answers: what moves, what stops, and what may not be answered."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any, TypeAlias

import pytest

from service.errors import NotAllowed, NotFound
from service.notifications.address import Address
from service.storage.database import Database
from service.watch.respond import Word, answer, close_with_the_sheet
from tests.support.clock import HandClock
from tests.support.watched import DRY, DRY_HALF_HOUR, GOOD, ROOM, hear, judge_at, minute, watched_farm
from tests.support.written import notices, told, written

Say: TypeAlias = Callable[..., Awaitable[str]]


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


@pytest.fixture
def say(database: Database) -> Say:
    async def said(word: Word, *, at: float, person: str = "maria", room: str = ROOM) -> str:
        return await answer(database, 1, room_id=room, person_id=person, word=word, way="page", now_ms=minute(at))

    return said


async def states(database: Database) -> list[str]:
    return [row["state"] for row in await written(database, "alarms")]


async def test_going_acknowledges_and_calls_off_what_waits(
    database: Database, farm: dict[str, Any], say: Say
) -> None:
    await hear(database, DRY_HALF_HOUR[:16])
    await judge_at(database, farm, 15)
    await Address(database=database, farm=farm, clock=HandClock(minute(15))).all_notices()
    happening = await say(Word.GOING, at=16)
    assert await states(database) == ["acknowledged"]
    assert {(row["person_id"], row["state"]) for row in await written(database, "deliveries")} == {
        ("maria", "cancelled"),
        ("ben", "cancelled"),
    }
    assert {row["detail"] for row in await written(database, "deliveries")} == {"Maria is going"}
    assert {row["kind"]: row["addressed"] for row in await notices(database)} == {"trouble": 1, "taken": 0}
    [said] = await written(database, "answers")
    assert (said["happening_id"], said["person_id"], said["word"], said["at_ms"]) == (
        happening,
        "maria",
        "going",
        minute(16),
    )
    [_, moved] = await told(database)
    assert moved[3:] == (minute(16), "acknowledge", "unacknowledged", "acknowledged")
    [row] = await written(database, "transitions", happens="acknowledge")
    assert row["who"] == "maria"


async def test_after_going_the_end_closes_it(database: Database, farm: dict[str, Any], say: Say) -> None:
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, 15)
    await say(Word.GOING, at=16)
    await judge_at(database, farm, 40)
    assert await states(database) == []
    [happening] = await written(database, "happenings")
    assert (happening["ended_ms"], happening["closed_ms"]) == (minute(30), minute(30))


async def test_going_after_it_came_back_by_itself_closes_it(
    database: Database, farm: dict[str, Any], say: Say
) -> None:
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, 15, 40)
    await say(Word.GOING, at=41)
    assert await states(database) == []
    [happening] = await written(database, "happenings")
    assert (happening["ended_ms"], happening["closed_ms"]) == (minute(30), minute(41))


async def test_two_may_go(database: Database, farm: dict[str, Any], say: Say) -> None:
    await hear(database, DRY_HALF_HOUR[:16])
    await judge_at(database, farm, 15)
    await say(Word.GOING, at=16)
    await say(Word.GOING, at=17, person="ben")
    assert await states(database) == ["acknowledged"]
    assert [row["person_id"] for row in await written(database, "answers")] == ["ben", "maria"]
    assert len(await told(database)) == 2


async def test_cannot_is_written_down_and_no_more(database: Database, farm: dict[str, Any], say: Say) -> None:
    await hear(database, DRY_HALF_HOUR[:16])
    await judge_at(database, farm, 15)
    await say(Word.CANNOT, at=16)
    assert await states(database) == ["unacknowledged"]
    assert [row["word"] for row in await written(database, "answers")] == ["cannot"]
    assert [row["addressed"] for row in await notices(database)] == [0]
    assert len(await told(database)) == 1


@pytest.mark.parametrize("word", Word)
async def test_where_nothing_is_open_there_is_nothing_to_answer(
    database: Database, farm: dict[str, Any], say: Say, word: Word
) -> None:
    await hear(database, [GOOD] * 10)
    await judge_at(database, farm, 10)
    with pytest.raises(NotAllowed):
        await say(word, at=10)
    assert await written(database, "answers") == []
    assert await told(database) == []


async def test_what_is_over_and_acknowledged_cannot_be_answered_again(
    database: Database, farm: dict[str, Any], say: Say
) -> None:
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, 15)
    await say(Word.GOING, at=16)
    await judge_at(database, farm, 40)
    before = await told(database)
    with pytest.raises(NotAllowed):
        await say(Word.GOING, at=41)
    assert await told(database) == before
    assert len(await written(database, "answers")) == 1


@pytest.mark.parametrize("wrong", [{"person": "nobody"}, {"room": "nowhere"}], ids=str)
async def test_nobody_and_nowhere_are_not_found_and_nothing_moves(
    database: Database, farm: dict[str, Any], say: Say, wrong: dict[str, str]
) -> None:
    await hear(database, DRY_HALF_HOUR[:16])
    await judge_at(database, farm, 15)
    with pytest.raises(NotFound):
        await say(Word.GOING, at=16, **wrong)
    assert await states(database) == ["unacknowledged"]
    assert await written(database, "answers") == []


async def test_what_nobody_answered_closes_with_the_sheet(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, DRY_HALF_HOUR)
    await judge_at(database, farm, 15, 40)
    assert await close_with_the_sheet(database, 1, before_ms=minute(30), now_ms=minute(50)) == 0
    assert await close_with_the_sheet(database, 1, before_ms=minute(31), now_ms=minute(50)) == 1
    assert await close_with_the_sheet(database, 1, before_ms=minute(99), now_ms=minute(99)) == 0
    assert await states(database) == []
    [happening] = await written(database, "happenings")
    assert happening["closed_ms"] == minute(50)
    [row] = await written(database, "transitions", happens="acknowledge")
    assert (row["who"], row["to_state"]) == ("the morning sheet", "normal")


async def test_the_sheet_leaves_alone_what_is_open_again(database: Database, farm: dict[str, Any]) -> None:
    await hear(database, [*DRY_HALF_HOUR, *[DRY] * 10])
    await judge_at(database, farm, 15, 40, 50)
    assert await close_with_the_sheet(database, 1, before_ms=minute(60), now_ms=minute(60)) == 1
    assert await states(database) == ["unacknowledged"]
    assert [row["closed_ms"] for row in await written(database, "happenings")] == [minute(60), None]
