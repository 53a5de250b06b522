"""Who is on call: the list of the hour, who is left out of it, and that somebody always remains."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest

from rules.model import MINUTE_MS, Instant
from service.localtime import at_local
from service.storage import people
from service.storage.database import Database
from service.watch.on_call import NO_TEXTS, NOT_NOW, NOT_THIS_ROOM, call_list, is_within, places_at
from tests.support.rotas import ZONE, farm_row, lines, person

NIGHT = at_local(date(2026, 11, 24), 2 * 60, ZONE)
NOON = at_local(date(2026, 11, 24), 12 * 60, ZONE)


async def told(database: Database, at_ms: Instant = NIGHT, **asked: Any) -> list[tuple[str, float]]:
    async with database.read() as connection:
        rows = await call_list(connection, farm_row(), at_ms=at_ms, room_id=asked.pop("room_id", None), **asked)
    return [(row["person_id"], row["after_ms"] / MINUTE_MS) for row in rows]


async def left_out(database: Database, at_ms: Instant = NIGHT, room_id: str | None = None) -> dict[str, str]:
    async with database.read() as connection:
        places = await places_at(connection, farm_row(), at_ms=at_ms, room_id=room_id)
    return {p.person["person_id"]: p.left_out for p in places if p.person is not None and p.left_out}


async def test_day_and_night_have_lists_of_their_own(database: Database) -> None:
    await person(database, "maria", "ben")
    await lines(database, ("maria", 0), ("ben", 10), daypart="night")
    await lines(database, ("ben", 0), daypart="day")

    assert await told(database) == [("maria", 0), ("ben", 10)]
    assert await told(database, NOON) == [("ben", 0)]


async def test_the_only_list_holds_day_and_night(database: Database) -> None:
    await person(database, "maria")
    await lines(database, ("maria", 0), daypart="day")

    assert await told(database) == [("maria", 0)]


@pytest.mark.parametrize(
    ("minute", "expected"),
    [(359, False), (360, True), (1079, True), (1080, False)],
    ids=["before", "in", "still", "after"],
)
def test_hours_begin_at_their_first_minute_and_end_before_their_last(minute: int, expected: bool) -> None:  # noqa: FBT001
    assert is_within(minute, 360, 1080) is expected
    assert is_within(minute, 1080, 360) is not expected


async def test_somebody_for_other_rooms_is_left_out_and_the_next_moves_up(database: Database) -> None:
    await person(database, "maria", room_ids=json.dumps(["house-1", "house-2"]))
    await person(database, "ben", "cal")
    await lines(database, ("maria", 0), ("ben", 10), ("cal", 30))

    assert await told(database, room_id="house-2") == [("maria", 0), ("ben", 10), ("cal", 30)]
    assert await told(database, room_id="house-7") == [("ben", 0), ("cal", 10)]
    assert await left_out(database, room_id="house-7") == {"maria": NOT_THIS_ROOM}


async def test_the_whole_farm_is_everybodys(database: Database) -> None:
    await person(database, "maria", room_ids=json.dumps(["house-1"]))
    await person(database, "ben")
    await lines(database, ("maria", 0), ("ben", 10))

    assert await told(database, room_id=None) == [("maria", 0), ("ben", 10)]


async def test_hours_may_go_past_midnight(database: Database) -> None:
    await person(database, "maria", hours_from_minute=20 * 60, hours_to_minute=3 * 60)
    await person(database, "ben")
    await lines(database, ("maria", 0), ("ben", 10))

    assert await told(database, at_local(date(2026, 11, 24), 179, ZONE)) == [("maria", 0), ("ben", 10)]
    assert await told(database, at_local(date(2026, 11, 24), 180, ZONE)) == [("ben", 0)]
    assert await left_out(database, NOON) == {"maria": NOT_NOW}


async def test_danger_to_people_leaves_nobody_out(database: Database) -> None:
    await person(database, "maria", room_ids=json.dumps(["house-1"]), hours_from_minute=0, hours_to_minute=1)
    await person(database, "ben")
    await lines(database, ("maria", 0), ("ben", 10))

    assert await told(database, room_id="house-7", danger=True) == [("maria", 0), ("ben", 10)]


async def test_where_everybody_would_be_left_out_everybody_is_told(database: Database) -> None:
    await person(database, "maria", room_ids=json.dumps(["house-1"]))
    await person(database, "ben", hours_from_minute=600, hours_to_minute=660)
    await person(database, "gone", active=0)
    await lines(database, ("gone", 0), ("maria", 5), ("ben", 10))

    assert await told(database, room_id="house-7") == [("maria", 0), ("ben", 5)]


async def test_somebody_who_wants_no_texts_stays_on_the_list_with_mail_or_calls(database: Database) -> None:
    await person(database, "ann", opted_out_ms=1)
    await person(database, "ben", opted_out_ms=1, email="ben@example.org")
    await person(database, "cal", opted_out_ms=1, way="voice")
    await lines(database, ("ann", 0), ("ben", 5), ("cal", 10))

    assert await told(database) == [("ben", 0), ("cal", 5)]
    assert await left_out(database) == {"ann": NO_TEXTS}


async def test_an_empty_list_names_nobody(database: Database) -> None:
    async with database.read() as connection:
        assert await people.lines(connection, 1, "night") == []
    assert await told(database) == []
