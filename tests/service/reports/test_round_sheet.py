"""The whole sheet: order of rooms, what was held back, silent and waiting probes; and its words."""

from __future__ import annotations

from typing import Any, Final

import pytest

from rules.model import HOUR_MS, MINUTE_MS, Quantity
from service.reports.night import Books
from service.reports.round_sheet import RoundSheet, Standing, round_sheet
from service.reports.span import newest_span
from service.reports.words import Words
from service.storage import holds, rooms
from service.storage.database import Database
from service.storage.holds import HoldRow
from service.watch.catalogue import Catalogue
from service.wording.units import Units
from tests.support import farmyard

HALF_PAST_TWO = farmyard.DRY_FROM_MS + 30 * MINUTE_MS


async def sheet_at(database: Database, farm: dict[str, Any], now_ms: int = farmyard.NOW_MS) -> RoundSheet:
    async with database.read() as connection:
        books = Books(connection=connection, farm=farm, profiles=Catalogue(farm["farm_id"]))
        return await round_sheet(books, newest_span(farm, now_ms))


def words(farm: dict[str, Any], units: Units = "us", now_ms: int = farmyard.NOW_MS) -> Words:
    return Words(farm=farm, units=units, now_ms=now_ms)


async def hold_back(
    database: Database, farm: dict[str, Any], kind: str, *, from_ms: int = farmyard.NIGHT_FROM_MS
) -> None:
    """All evening, if nothing else is said, until six in the morning."""
    row = HoldRow(
        hold_id="1",
        kind=kind,
        room_id="house-7",
        quantity=None,
        side=None,
        person_id="ines",
        from_ms=from_ms,
        until_ms=farmyard.NIGHT_TO_MS,
        ended_ms=None,
        ended_by=None,
        why="",
        recorded_ms=from_ms,
        who="Ines",
    )
    async with database.write() as connection:
        await holds.add_hold(connection, farm["farm_id"], row)


async def test_after_a_dry_night_the_dry_room_is_first_and_the_others_are_quiet(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    sheet = await sheet_at(dry_night, farm)

    assert [line.standing for line in sheet.lines] == [Standing.WELL_AGAIN, Standing.QUIET, Standing.QUIET]
    (loud,) = sheet.loud
    said = words(farm)
    assert (said.lead(loud), said.story(loud)) == (
        "Well again.",
        "Humidity under 85% for 38 min from 02:13, lowest 78% at door end. First check: humidifier.",
    )
    assert said.span(sheet.span) == "Night of Tue 24 Nov to Wed 25 Nov and the day so far, 18:00 to 07:10"


async def test_while_it_goes_on_the_room_is_still_low_and_nobody_has_answered(
    database: Database, farm: dict[str, Any]
) -> None:
    await farmyard.dry_night(database, farm, to_ms=HALF_PAST_TWO)

    sheet = await sheet_at(database, farm, HALF_PAST_TWO)

    said = words(farm, now_ms=HALF_PAST_TWO)
    assert said.lead(sheet.lines[0]) == "Still low."
    assert said.story(sheet.lines[0]).startswith("Humidity under 85% since 02:13, lowest 78% at door end.")
    assert said.answers(sheet.lines[0].night) == ["Nobody was texted about this."]


async def test_of_a_room_that_went_silent_while_low_nobody_says_that_it_still_is(
    database: Database, farm: dict[str, Any]
) -> None:
    await farmyard.dry_night(database, farm, to_ms=HALF_PAST_TWO)

    sheet = await sheet_at(database, farm, HALF_PAST_TWO + HOUR_MS)

    assert sheet.lines[0].standing is Standing.STILL_WRONG
    assert words(farm).lead(sheet.lines[0]) == "Was low when last heard."


async def test_a_room_where_a_limit_is_passed_comes_before_one_that_was_worse(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    now = farmyard.NOW_MS + HOUR_MS
    warm = farmyard.every(MINUTE_MS, farmyard.NOW_MS, now, lambda _at: 9.0)
    await farmyard.send(dry_night, farm["farm_id"], "cooler-1", Quantity.TEMPERATURE, warm)
    await farmyard.judge_as_it_went(dry_night, farm, from_ms=farmyard.NOW_MS, to_ms=now)

    sheet = await sheet_at(dry_night, farm, now)

    assert sheet.lines[0].night.room["room_id"] == "cooler"
    assert sheet.lines[0].standing is Standing.STILL_WRONG


async def test_a_room_in_its_first_days_would_have_texted(database: Database, farm: dict[str, Any]) -> None:
    async with database.write() as connection:
        await rooms.end_first_days(connection, farm["farm_id"], "house-7", farmyard.NOW_MS + HOUR_MS, who="Ines")
    await farmyard.dry_night(database, farm)

    sheet = await sheet_at(database, farm)

    ((line, notice),) = sheet.held_back
    assert words(farm).held_back(line, notice) == (
        "House 7: humidity low, would have texted at 02:21. In its first days nobody is woken."
    )


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("working", "House 7: humidity low at 02:21, not texted: Ines was working until 06:00."),
        ("leave", "House 7: humidity low at 02:21, not texted: left until 06:00 by Ines."),
    ],
)
async def test_what_was_held_back_says_by_whom_and_until_when(
    database: Database, farm: dict[str, Any], kind: str, sentence: str
) -> None:
    await hold_back(database, farm, kind)
    await farmyard.dry_night(database, farm, to_ms=HALF_PAST_TWO)

    sheet = await sheet_at(database, farm, HALF_PAST_TWO)

    ((line, notice),) = sheet.held_back
    said = words(farm)
    assert said.held_back(line, notice) == sentence
    assert said.nothing_to_answer(line.night).startswith("Held back for now.")


async def test_what_is_held_back_once_it_was_told_has_not_come_back(
    database: Database, farm: dict[str, Any]
) -> None:
    """Told at 02:21, and somebody works there from 02:25."""
    await hold_back(database, farm, "working", from_ms=HALF_PAST_TWO - 5 * MINUTE_MS)
    await farmyard.dry_night(database, farm, to_ms=HALF_PAST_TWO)

    sheet = await sheet_at(database, farm, HALF_PAST_TWO)

    said = words(farm, now_ms=HALF_PAST_TWO)
    night = sheet.lines[0].night
    assert night.waits_for_answer
    assert said.answers(night) == ["Held back for now. If it is still out when that ends, people are told."]


async def test_a_room_that_nobody_hears_cannot_be_judged(dry_night: Database, farm: dict[str, Any]) -> None:
    later = farmyard.NOW_MS + 2 * HOUR_MS

    sheet = await sheet_at(dry_night, farm, later)

    assert {line.standing for line in sheet.lines} == {Standing.CANNOT_SAY}
    assert {p.probe_id for p in sheet.silent} == {p[0] for p in farmyard.PROBES}
    said = words(farm, now_ms=later)
    assert said.silent(sheet.silent[0]).startswith("last heard 07:")
    assert "Nothing is heard of" in said.story(sheet.lines[0])


async def test_a_cooler_that_never_had_a_humidity_probe_is_quiet(database: Database, farm: dict[str, Any]) -> None:
    cold = farmyard.every(5 * MINUTE_MS, farmyard.NIGHT_FROM_MS, farmyard.NOW_MS, lambda _at: 2.0)
    await farmyard.send(database, farm["farm_id"], "cooler-1", Quantity.TEMPERATURE, cold)

    sheet = await sheet_at(database, farm)

    (cooler,) = (line for line in sheet.lines if line.night.room["room_id"] == "cooler")
    humidity = next(q for q in cooler.night.quantities if q.quantity is Quantity.HUMIDITY)
    assert (humidity.lines, humidity.now, humidity.is_watched) == ((), None, False)
    assert (cooler.standing, cooler.unheard) == (Standing.QUIET, ())


async def test_a_probe_that_hangs_nowhere_waits_on_the_sheet(database: Database, farm: dict[str, Any]) -> None:
    await farmyard.send(database, farm["farm_id"], "stray", Quantity.CO2, [(farmyard.NOW_MS, 500.0)])

    assert [p["probe_id"] for p in (await sheet_at(database, farm)).waiting] == ["stray"]


async def test_contradictions_are_counted_as_not_read(database: Database, farm: dict[str, Any]) -> None:
    at = farmyard.NIGHT_FROM_MS + HOUR_MS
    for value in (90.0, 91.0):
        await farmyard.send(database, farm["farm_id"], "h3-middle", Quantity.HUMIDITY, [(at, value)])

    sheet = await sheet_at(database, farm)

    assert words(farm).rejected(sheet) == "1 message could not be used."


async def test_a_dip_is_told_in_sentences_in_the_readers_units(database: Database, farm: dict[str, Any]) -> None:
    await farmyard.send_night(database, farm["farm_id"])
    cold = farmyard.every(MINUTE_MS, farmyard.NOW_MS, farmyard.NOW_MS + HOUR_MS, lambda _at: 7.0)
    await farmyard.send(database, farm["farm_id"], "h7-door", Quantity.TEMPERATURE, cold)
    sheet = await sheet_at(database, farm, farmyard.NOW_MS + HOUR_MS)
    night = next(line.night for line in sheet.lines if line.night.room["room_id"] == "house-7")
    dip = next(d for d in night.dips if d.quantity is Quantity.TEMPERATURE)

    us, metric = (words(farm, units).dip(night, dip) for units in ("us", "metric"))

    assert us[0] == "07:10, and still low at 08:10: temperature low for 1 h so far."
    assert us[1] == "Lowest 45 °F at 07:10; the band begins at 50 °F."
    assert metric[1] == "Lowest 7.0 °C at 07:10; the band begins at 10 °C."


ON_PAPER: Final = {"zone": farmyard.ZONE, "units": "us", "room_word": "house"}


def test_texts_stand_in_order_to_people_only_and_give_no_link_away() -> None:
    token = "uXlZKM0EZL1VB0q9VcPsiy7O"
    told: dict[str, Any] = {
        "kind": "trouble",
        "state": "sent",
        "detail": "",
        "first_try_ms": None,
        "at_ms": HALF_PAST_TWO,
        "facts": {},
    }
    later = {**told, "person_id": "ben", "name": "Ben", "text": "Low.", "ended_ms": HALF_PAST_TWO + 9 * MINUTE_MS}
    first = {
        **told,
        "person_id": "maria",
        "name": "Maria",
        "text": f"Low. Answer: https://houses.example.org/a/{token}",
        "ended_ms": HALF_PAST_TWO,
    }
    machine = {**told, "person_id": "@farm", "name": None, "text": "Low.", "ended_ms": HALF_PAST_TWO}

    texts = words(ON_PAPER).texts([later, first, machine])

    assert [(text.head, text.words) for text in texts] == [
        ("02:30 to Maria, sent", "Low. Answer: https://houses.example.org/a/..."),
        ("02:39 to Ben, sent", "Low."),
    ]


def test_a_text_that_was_never_written_says_what_it_would_have_been_about() -> None:
    unwritten: dict[str, Any] = {"kind": "taken", "state": "cancelled", "detail": "", "text": None, "facts": {}}
    moments = {"ended_ms": HALF_PAST_TWO, "first_try_ms": None, "at_ms": HALF_PAST_TWO}

    [text] = words(ON_PAPER).texts([{**unwritten, **moments, "person_id": "ben", "name": "Ben"}])

    assert text.words == "About this: somebody is going."
