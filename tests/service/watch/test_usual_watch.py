"""What is usual is worked out once an evening, from like days only. The rules are the project's own."""

from __future__ import annotations

import json
from datetime import date
from typing import Any, Final

import pytest

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, Instant, Quantity
from rules.stays import Stay, stays_in_order
from service.errors import PassingError
from service.localtime import at_local
from service.storage import crops, holds, rooms, usuals
from service.storage.database import Database
from service.storage.holds import LEAVE, WORKING, HoldRow
from service.storage.usuals import UsualRow
from service.watch.usual_watch import UsualWatch, hours_to_come, otherwise_grown
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.written import notices

ROOM: Final = "house-3"
PROBE: Final = "h3-middle"
EVENING_MS: Final = at_local(farmyard.TODAY, farmyard.EVENING, farmyard.ZONE)
ONE_AM_MS: Final = EVENING_MS + 7 * HOUR_MS
"""In the night that the evening is made for."""


async def _settled(database: Database) -> dict[str, Any]:
    """The farm, whose grey oysters in House 3 have been fruiting for a fortnight by the evening."""
    farm = await farmyard.add_farm(database)
    await farmyard.add_rooms(database, 1, EVENING_MS - 30 * DAY_MS)
    await farmyard.add_crops(database, 1, EVENING_MS - 20 * DAY_MS)
    return farm


async def _nights(database: Database, *values: float, probe: str = PROBE) -> None:
    """What the hours from midnight to three showed last night, the night before, and so on."""
    for back, value in enumerate(values, start=1):
        from_ms = EVENING_MS - back * DAY_MS + 6 * HOUR_MS
        points = [(from_ms + n * 5 * MINUTE_MS, value) for n in range(36)]
        await farmyard.send(database, 1, probe, Quantity.HUMIDITY, points)


def _watch(database: Database, farm: dict[str, Any], at_ms: Instant = EVENING_MS) -> UsualWatch:
    return UsualWatch(database=database, farm=farm, clock=HandClock(at_ms))


async def _rows(database: Database, room_id: str = ROOM) -> list[UsualRow]:
    async with database.read() as connection:
        return await usuals.usual_of(connection, 1, room_id, 0, EVENING_MS + 100 * DAY_MS)


async def _at(database: Database, at_ms: Instant) -> float | None:
    (row,) = await _rows(database)
    return dict(row.steps)[at_ms]


# --- from like days -----------------------------------------------------------------------------------------


async def test_the_evening_s_work_says_what_the_night_usually_shows(database: Database) -> None:
    farm = await _settled(database)
    await _nights(database, 91, 92, 60, 93)
    assert await _watch(database, farm).all_due() == 3
    (row,) = await _rows(database)
    assert (row.quantity, row.made_ms) == (Quantity.HUMIDITY, EVENING_MS)
    assert (row.from_ms, row.until_ms) == (EVENING_MS + HOUR_MS, EVENING_MS + 27 * HOUR_MS)
    known = {at_ms: value for at_ms, value in row.steps if value is not None}
    assert known == {ONE_AM_MS + ahead * HOUR_MS: 91.5 for ahead in (-1, 0, 1)}
    assert len(row.steps) == 26


async def test_a_second_probe_speaks_where_it_shows_less(database: Database) -> None:
    farm = await _settled(database)
    await _nights(database, 91, 92, 93)
    hung = {"probe_id": "other", "room_id": ROOM, "place": "door", "recorded_ms": 0, "who": "Ines"}
    async with database.write() as connection:
        await rooms.place_probe(connection, 1, {**hung, "valid_from_ms": EVENING_MS - 3 * DAY_MS})
    await _nights(database, 85, 86, 87, 30, probe="other")
    await _watch(database, farm).all_due()
    assert await _at(database, ONE_AM_MS) == 86


async def test_days_at_another_stage_are_not_like_this_one(database: Database) -> None:
    farm = await _settled(database)
    await _nights(database, 91, 92, 93, 94)
    noted = {"recorded_ms": 0, "room_id": ROOM, "who": "Ines", "batch_id": "OY-18"}
    async with database.write() as connection:
        for days, stage in ((3, "pinning"), (2, "fruiting")):
            stay = {**noted, "valid_from_ms": EVENING_MS - days * DAY_MS, "stage": stage}
            await crops.add_stay(connection, 1, stay)
    await _watch(database, farm).all_due()
    assert await _at(database, ONE_AM_MS) == 92  # 91, 92 and 94, without the night of pinning


async def test_hours_in_which_somebody_worked_or_humidity_was_left_are_not_usual(database: Database) -> None:
    farm = await _settled(database)
    await _nights(database, 91, 92, 93, 94, 95)
    one_am = [ONE_AM_MS - back * DAY_MS for back in range(6)]
    async with database.write() as connection:
        for hold in (
            _hold("a", WORKING, None, one_am[1] + 50 * MINUTE_MS),
            _hold("b", LEAVE, ROOM, one_am[2], quantity=Quantity.HUMIDITY),
            _hold("c", LEAVE, ROOM, one_am[3], quantity=Quantity.CO2),
            _hold("d", LEAVE, "house-7", one_am[4]),
        ):
            await holds.add_hold(connection, 1, hold)
    await _watch(database, farm).all_due()
    assert await _at(database, ONE_AM_MS) == 94  # 93, 94 and 95
    assert await _at(database, ONE_AM_MS - HOUR_MS) == 93


def _hold(
    hold_id: str, kind: str, room_id: str | None, from_ms: Instant, *, quantity: Quantity | None = None
) -> HoldRow:
    return HoldRow(
        hold_id=hold_id,
        kind=kind,
        room_id=room_id,
        quantity=quantity,
        side=None,
        person_id=None,
        from_ms=from_ms,
        until_ms=from_ms + 30 * MINUTE_MS,
        ended_ms=None,
        ended_by=None,
        why="",
        recorded_ms=from_ms,
        who="Ines",
    )


# --- once an evening ----------------------------------------------------------------------------------------


async def test_it_is_done_once_an_evening_whatever_goes_wrong_in_between(database: Database) -> None:
    farm = await _settled(database)
    watch = _watch(database, farm, EVENING_MS - MINUTE_MS)
    clock = HandClock(EVENING_MS - MINUTE_MS)
    watch.clock = clock
    assert await watch.all_due() == 3  # never done before
    assert await watch.all_due() == 0
    clock.set(EVENING_MS + 5 * HOUR_MS)  # the service was down at the evening round
    assert await watch.all_due() == 3
    clock.set(EVENING_MS + 23 * HOUR_MS)
    assert await watch.all_due() == 0
    clock.set(EVENING_MS + DAY_MS)
    assert await watch.all_due() == 3
    assert [row.made_ms - EVENING_MS for row in await _rows(database)] == [-MINUTE_MS, 5 * HOUR_MS, DAY_MS]


async def test_a_room_that_grows_nothing_has_nothing_usual_until_something_comes(database: Database) -> None:
    farm = await _settled(database)
    stay = {"batch_id": "OY-18", "valid_from_ms": EVENING_MS - DAY_MS, "recorded_ms": 0, "who": "Ines"}
    async with database.write() as connection:
        await crops.add_stay(connection, 1, {**stay, "room_id": None, "stage": "spent"})
    watch = _watch(database, farm)
    assert await watch.all_due() == 2
    assert await _rows(database) == []
    async with database.write() as connection:
        back = {**stay, "valid_from_ms": EVENING_MS - 1, "room_id": ROOM, "stage": "fruiting"}
        await crops.add_stay(connection, 1, back)
    assert await watch.all_due() == 1


async def test_one_room_s_trouble_does_not_keep_the_others_from_their_evening(database: Database) -> None:
    farm = await _settled(database)
    async with database.write() as connection:
        odd = {"batch_id": "OY-18", "valid_from_ms": EVENING_MS - 1, "recorded_ms": 0, "who": "Ines"}
        await crops.add_stay(connection, 1, {**odd, "room_id": ROOM, "stage": "fruiting"})
    await farmyard.send(database, 1, PROBE, Quantity.HUMIDITY, [(ONE_AM_MS - DAY_MS, 90.0)])
    assert await _Fails(database=database, farm=farm, clock=HandClock(EVENING_MS), error=KeyError()).all_due() == 2
    assert await _rows(database) == []
    assert await _watch(database, farm).all_due() == 1


async def test_a_database_that_cannot_be_used_just_now_is_asked_again_next_time(database: Database) -> None:
    farm = await _settled(database)
    watch = _Fails(database=database, farm=farm, clock=HandClock(EVENING_MS), error=PassingError("locked"))
    with pytest.raises(PassingError, match="locked"):
        await watch.all_due()
    assert await _watch(database, farm).all_due() == 2


class _Fails(UsualWatch):
    """Fails for one room."""

    def __init__(self, *, error: Exception, **parts: Any) -> None:
        super().__init__(**parts)
        self.error = error

    async def make(self, room_id: str) -> bool:
        if room_id == ROOM:
            raise self.error
        return await super().make(room_id)


async def test_what_was_made_twice_at_one_moment_stays_as_it_was_first(database: Database) -> None:
    row = UsualRow(quantity=Quantity.HUMIDITY, made_ms=5, from_ms=10, until_ms=20, steps=((10, 90.5), (15, None)))
    again = UsualRow(quantity=Quantity.HUMIDITY, made_ms=5, from_ms=10, until_ms=20, steps=((10, 80.0),))
    async with database.write() as connection:
        await usuals.add_usual(connection, 1, ROOM, row)
        await usuals.add_usual(connection, 1, ROOM, again)
        spans = [(0, 10), (0, 11), (19, 30), (20, 30)]
        found = [await usuals.usual_of(connection, 1, ROOM, *span) for span in spans]
    assert found == [[], [row], [row], []]


# --- by the farm's clock ------------------------------------------------------------------------------------


def test_after_a_clock_change_the_same_hour_is_the_one_that_the_farm_s_clock_shows() -> None:
    """In New York clocks went back at 2:00 on 1 November 2026 (tz database)."""
    evening_ms = at_local(date(2026, 11, 1), farmyard.EVENING, farmyard.ZONE)
    seven = hours_to_come(evening_ms, farmyard.ZONE)[0]
    assert seven.from_ms == evening_ms + HOUR_MS
    assert [(seven.from_ms - at_ms) / HOUR_MS for at_ms in seven.earlier[:3]] == [25, 49, 73]
    assert len(seven.earlier) == 14


def test_hours_to_come_are_whole_ones_and_have_not_begun() -> None:
    for minutes, ahead in ((0, 60), (17.5, 42.5), (58.9, 1.1), (59, 61), (59.5, 60.5)):
        now_ms = EVENING_MS + round(minutes * MINUTE_MS)
        hours = hours_to_come(now_ms, farmyard.ZONE)
        assert hours[0].from_ms == now_ms + round(ahead * MINUTE_MS)
        assert [hour.from_ms - hours[0].from_ms for hour in hours] == [n * HOUR_MS for n in range(26)]
        assert all(at_ms + HOUR_MS <= now_ms for hour in hours for at_ms in hour.earlier)


def test_a_clock_that_runs_fast_is_given_as_much_notice_by_the_wall() -> None:
    hours = hours_to_come(EVENING_MS, farmyard.ZONE, notice_ms=60 * MINUTE_MS)
    assert hours[0].from_ms == EVENING_MS + 2 * HOUR_MS


# --- like days ----------------------------------------------------------------------------------------------


def _stays(*stages: tuple[Instant, str]) -> list[Stay]:
    """One batch of oysters in one house, from these moments on at these stages."""
    rows = [
        {
            "batch_id": "a",
            "room_id": "h1",
            "stage": stage,
            "profile": "oyster",
            "version": 1,
            "valid_from_ms": at_ms,
        }
        for at_ms, stage in stages
    ]
    return stays_in_order(rows)


def test_spans_in_which_something_else_grew_are_found() -> None:
    stays = _stays((0, "pinning"), (50, "fruiting"), (60, "rest"), (80, "fruiting"), (90, "fruiting"))
    assert list(otherwise_grown(stays, "h1", since_ms=20, now_ms=100)) == [(20, 50), (60, 80)]
    assert list(otherwise_grown(stays, "h1", since_ms=85, now_ms=100)) == []


# --- as the room is judged ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("nights", "told"), [([92, 91, 93], ["wake"]), ([92, 91], []), ([86, 85, 87], [])])
async def test_a_fall_well_below_what_is_usual_at_this_hour_speaks_although_the_limit_lies_lower(
    database: Database, nights: list[float], told: list[str]
) -> None:
    """Grey oyster, fruiting: told below 78 %RH, or 12 under what is usual. The room falls from 92 to 79 at one."""
    farm = await _settled(database)
    await _nights(database, *nights)
    await _watch(database, farm).all_due()
    points = [(ONE_AM_MS + n * MINUTE_MS, 92.0 if n < 0 else 79.0) for n in range(-50, 40)]
    await farmyard.send(database, 1, PROBE, Quantity.HUMIDITY, points)
    await farmyard.judge_as_it_went(
        database, farm, from_ms=ONE_AM_MS - HOUR_MS, to_ms=ONE_AM_MS + 40 * MINUTE_MS, step_ms=10 * MINUTE_MS
    )
    said = [(n["telling"], n["facts"]) for n in await notices(database, room_id=ROOM)]
    assert [telling for telling, _ in said] == told
    if told:
        facts = json.loads(said[0][1])
        assert (facts["usual"], facts["limit"], facts["value"]) == (92.0, 80.0, 79.0)
