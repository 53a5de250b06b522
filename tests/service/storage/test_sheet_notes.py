"""What the sheet notes, read from either database: fading batteries, checks, unanswered tests, what happened."""

from __future__ import annotations

from typing import Any

from sqlalchemy import insert

from rules.model import DAY_MS, HOUR_MS, Instant, Quantity
from service.reports.note_words import NoteWords
from service.reports.sheet_notes import SheetNotes, sheet_notes
from service.reports.span import newest_span
from service.reports.words import Words
from service.storage import ledger, probe_checks, rooms
from service.storage.database import Database
from service.storage.silences import SilenceRow
from service.storage.tables import silences, trials
from service.storage.truths import What, add_truth
from tests.support import farmyard

NOW_MS = farmyard.NOW_MS


async def notes_of(database: Database, farm: dict[str, Any], now_ms: Instant = NOW_MS) -> SheetNotes:
    async with database.read() as connection:
        heard = await rooms.all_probes(connection, farm["farm_id"])
        names = {row["room_id"]: row["name"] for row in await rooms.all_rooms(connection, farm["farm_id"])}
        return await sheet_notes(connection, farm, newest_span(farm, now_ms), probes=heard, names=names)


def words(farm: dict[str, Any]) -> NoteWords:
    return NoteWords(words=Words(farm=farm, units="us", now_ms=NOW_MS))


async def batteries(
    database: Database, farm: dict[str, Any], probe: str, volts: dict[int, tuple[float, float]]
) -> None:
    """For so many days ago: volts at 03:00 and at noon of the farm's clock."""
    points = []
    for days, (night, noon) in volts.items():
        morning_ms = farmyard.NIGHT_TO_MS - days * DAY_MS
        points += [(morning_ms - 3 * HOUR_MS, night), *([(morning_ms + 6 * HOUR_MS, noon)] if days else [])]
    await farmyard.send(database, farm["farm_id"], probe, Quantity.BATTERY, sorted(points))


async def test_a_fading_battery_is_changed_this_week_and_a_cold_night_is_not_the_end(database: Database) -> None:
    farm = await farmyard.settle(database)
    steady = dict.fromkeys(range(34, 1, -1), (2.95, 3.0))
    await batteries(database, farm, "h3-middle", {**steady, 1: (2.5, 2.7), 0: (2.5, 0.0)})
    await batteries(database, farm, "h7-back", {**steady, 1: (2.4, 2.95), 0: (2.4, 0.0)})

    notes = await notes_of(database, farm)

    assert [words(farm).battery(one) for one in notes.batteries] == [
        "House 3, middle (h3-middle): change the battery this week. 2.70 V, was 3.00 V in the weeks before."
    ]


async def test_checks_are_due_oldest_first_and_only_where_somebody_asks(database: Database) -> None:
    farm = await farmyard.settle(database)
    async with database.write() as connection:
        for probe_id, days in (("h7-door", 30), ("h3-middle", 7), ("cooler-1", 400)):
            await probe_checks.set_check_every(connection, farm["farm_id"], probe_id, days)
        await probe_checks.set_checked(
            connection, farm["farm_id"], "h7-door", who="Ines", at_ms=NOW_MS - 40 * DAY_MS
        )

    notes = await notes_of(database, farm)

    first, second = (words(farm).check(one) for one in notes.checks)
    assert first.startswith("House 7, door end (h7-door): check it against a reference, due since Sun 15 Nov.")
    assert first.endswith(" Last checked Fri 16 Oct by Ines.")
    assert second.startswith("House 3, middle (h3-middle): check it against a reference, due since Sun 22 Nov.")
    assert second.endswith(" Never checked.")


async def test_a_test_that_was_answered_later_is_not_on_the_sheet(database: Database) -> None:
    farm = await farmyard.settle(database)
    asked = (
        ("ben", "weekly", NOW_MS - 7 * DAY_MS, None),
        ("ben", "weekly", NOW_MS - HOUR_MS * 30, NOW_MS),
        ("maria", "night ring", NOW_MS - 2 * DAY_MS, None),
        ("maria", "weekly", NOW_MS - HOUR_MS, None),
    )
    async with database.write() as connection:
        for n, (person_id, kind, at_ms, answered_ms) in enumerate(asked):
            row = {"trial_id": str(n), "person_id": person_id, "kind": kind, "at_ms": at_ms, "delivery_id": ""}
            row |= {"farm_id": farm["farm_id"], "answered_ms": answered_ms, "answered_by": None}
            await connection.execute(insert(trials).values(row))

    notes = await notes_of(database, farm)

    assert [words(farm).trial(row) for row in notes.trials] == [
        "Maria has not answered the night-ring test of Mon 23 Nov: would the phone have woken anybody?"
    ]


async def test_what_was_not_heard_is_told_with_its_layer(database: Database) -> None:
    farm = await farmyard.settle(database)
    since_ms = farmyard.NIGHT_FROM_MS + 4 * HOUR_MS
    kept = [
        SilenceRow(
            scope="gateway", name="north", since_ms=since_ms, noticed_ms=since_ms, ended_ms=since_ms + HOUR_MS
        ),
        SilenceRow(scope="room", name="house-7", since_ms=since_ms + 1, noticed_ms=since_ms),
        SilenceRow(scope="probe", name="h7-door", since_ms=since_ms, noticed_ms=since_ms),
        SilenceRow(
            scope="houseband", name="", since_ms=since_ms, noticed_ms=since_ms, ended_ms=since_ms + HOUR_MS
        ),
    ]
    async with database.write() as connection:
        for row in kept:
            values = {name: getattr(row, name) for name in ("scope", "name", "since_ms", "noticed_ms", "ended_ms")}
            await connection.execute(
                insert(silences).values({**values, "farm_id": farm["farm_id"], "facts": "{}"})
            )

    notes = await notes_of(database, farm)

    assert [words(farm).silence(one, notes.names) for one in notes.silences] == [
        "Gateway north, and every probe behind it: not heard from 22:00 to 23:00.",
        "Houseband itself did not run from 22:00 to 23:00: nobody was watching.",
        "House 7: its last probe of something with a text limit was not heard since 22:00, and still is not.",
    ]


async def test_what_happened_is_asked_once_and_an_answer_by_text_is_a_hint(database: Database) -> None:
    farm = await farmyard.settle(database)
    await farmyard.dry_night(database, farm)
    (asked,) = (await notes_of(database, farm)).happened
    assert (asked.is_asked, words(farm).truth(asked)) == (True, "")
    said = {"happening_id": asked.happening_id, "person_id": "ben", "word": "fixed", "way": "text"}
    async with database.write() as connection:
        await ledger.add_answer(connection, farm["farm_id"], {**said, "at_ms": farmyard.DRY_FROM_MS + HOUR_MS})
        await add_truth(
            connection,
            farm["farm_id"],
            asked.happening_id,
            what=What.GEAR,
            harm=None,
            who="Maria",
            now_ms=NOW_MS,
        )

    (told,) = (await notes_of(database, farm)).happened

    assert words(farm).hints(told) == ["Ben answered at 03:00: fixed."]
    assert words(farm).truth(told) == "It was: gear. Said by Maria, 07:10."
    assert words(farm).happened(told) == "humidity low, 02:21 to 02:58"
    assert told.is_asked


async def test_what_was_merged_into_the_whole_farms_happening_is_not_asked_again(database: Database) -> None:
    farm = await farmyard.settle(database)
    began = {"began_ms": NOW_MS - HOUR_MS, "ended_ms": NOW_MS, "closed_ms": None, "woke": 1}
    site = f"site@{NOW_MS - HOUR_MS}"
    async with database.write() as connection:
        for happening_id, room_id, part_of in ((site, None, None), ("house-7@1", "house-7", site)):
            row = {"happening_id": happening_id, "room_id": room_id, "part_of": part_of, **began}
            await ledger.save_happening(connection, farm["farm_id"], row)

    assert [one.happening_id for one in (await notes_of(database, farm)).happened] == [site]


async def test_that_somebody_was_looked_after_is_asked_by_nobody(database: Database) -> None:
    farm = await farmyard.settle(database)
    out = {"happening_id": f"out/ben@{NOW_MS}", "room_id": None, "began_ms": NOW_MS - HOUR_MS, "woke": 1}
    async with database.write() as connection:
        await ledger.save_happening(connection, 1, {**out, "ended_ms": None, "closed_ms": None})
    assert (await notes_of(database, farm)).happened == ()
