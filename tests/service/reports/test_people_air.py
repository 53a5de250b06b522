"""What the sheet and a room's page say of limits for people."""

from __future__ import annotations

from typing import Any

import pytest

from rules.people import Level
from service.reports.night import Books
from service.reports.people_air import people_air_of
from service.reports.round_sheet import RoomLine, Standing, round_sheet
from service.reports.span import newest_span
from service.reports.words import Words
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.web.room_page import room_page
from service.web.sheet_page import sheet_page
from service.web.truth_form import AskedWhom
from tests.support.breathing import (
    FRESH,
    HIGH_ALL_DAY,
    HIGH_NOW,
    NIGHT,
    breathe,
    grow_above_on_purpose,
    reads_no_higher_than,
)
from tests.support.watched import ROOM, judge_at, minute, watched_farm

TOP_PPM = 10_000.0


@pytest.fixture
async def farm(database: Database) -> dict[str, Any]:
    return await watched_farm(database)


async def line_of(database: Database, farm: dict[str, Any], *, at: float) -> tuple[RoomLine, Words]:
    span = newest_span(farm, minute(at))
    async with database.read() as connection:
        books = Books(connection=connection, farm=farm, profiles=Catalogue(farm["farm_id"]))
        sheet = await round_sheet(books, span)
    line = next(line for line in sheet.lines if line.night.room["room_id"] == ROOM)
    words = Words(farm=farm, units="us", now_ms=minute(at))
    assert sheet_page(sheet, words, AskedWhom(person_id="", name="", people=())).cards
    return line, words


async def test_what_is_over_is_said_first_with_its_figure(database: Database, farm: dict[str, Any]) -> None:
    await breathe(database, [HIGH_NOW] * 20, start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    line, words = await line_of(database, farm, at=NIGHT + 20)
    assert words.lead(line) == "Still over the people limit."
    assert words.story(line).startswith(
        "CO2 is over the limit for people: 40,000 ppm on average over 15 min, limit 30,000 ppm."
        " A room average, not a person's exposure. Air out before entry."
    )
    page = room_page(
        line.night,
        words,
        held_back=[],
        people=[],
        whoever="",
        newest=newest_span(farm, minute(NIGHT + 20)).evening,
    )
    assert "Do not go in alone." in " ".join(page.cautions)


async def test_a_probe_at_its_top_may_be_over_the_limit(database: Database, farm: dict[str, Any]) -> None:
    """10000 ppm is all that the probe reads; the limit over 15 minutes is 30000."""
    await reads_no_higher_than(database, TOP_PPM)
    await breathe(database, [TOP_PPM] * 20, start=NIGHT)
    await judge_at(database, farm, NIGHT + 20)
    line, words = await line_of(database, farm, at=NIGHT + 20)
    assert words.lead(line) == "May be over the people limit."
    assert words.story(line).startswith("CO2 is at least 10,000 ppm, and may be over the limit for people")


async def test_what_was_over_and_is_not_keeps_its_time_and_its_caution(
    database: Database, farm: dict[str, Any]
) -> None:
    await breathe(database, [*[HIGH_NOW] * 20, *[FRESH] * 60], start=NIGHT)
    await judge_at(database, farm, NIGHT + 20, NIGHT + 80)
    line, words = await line_of(database, farm, at=NIGHT + 80)
    assert line.standing is not Standing.STILL_WRONG
    assert "A limit for people was passed at 19:02." in words.story(line)
    assert "Air out before entry" not in words.story(line)
    assert line.night.co2_is_or_was_high


async def test_a_stage_grown_above_on_purpose_is_marked_and_not_wrong(
    database: Database, farm: dict[str, Any]
) -> None:
    await grow_above_on_purpose(database)
    await breathe(database, [HIGH_ALL_DAY] * 30, start=NIGHT, step=5)
    await judge_at(database, farm, NIGHT + 120)
    line, words = await line_of(database, farm, at=NIGHT + 120)
    assert line.standing is not Standing.STILL_WRONG
    assert words.mark(line.night) == ["air out before entry"]
    assert words.people(line.night)[-1] == "Air out before entry."
    assert "on average over 8 h, limit 5,000 ppm" in words.people(line.night)[0]


async def test_a_value_over_the_ceiling_or_at_the_top_is_the_value_of_now(database: Database) -> None:
    farm = {**await watched_farm(database), "people_ceiling_ppm": 2000.0}
    await breathe(database, [3000.0] * 3, start=0)
    await judge_at(database, farm, 2)
    async with database.read() as connection:
        air = await people_air_of(connection, farm, ROOM)
        assert await people_air_of(connection, farm, "house-3") is None
    assert air is not None
    assert {level: figure.ppm for level, figure in air.passed.items()} == {Level.CEILING: 3000}
    assert (air.now_ppm, air.limits.ceiling_ppm) == (3000, 2000)
