"""One room's night, read back from a real database on which it was judged as it went."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, Quantity, Side
from service.errors import NotFound
from service.reports.night import Books, RoomNight, read_ledger, room_night
from service.reports.span import Span, newest_span, night_span
from service.storage import crops, rooms
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.watch.respond import Word, answer
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.watched import grow_instead


async def told(
    database: Database, farm: dict[str, Any], room_id: str = "house-7", span: Span | None = None
) -> RoomNight:
    span = span or newest_span(farm, farmyard.NOW_MS)
    async with database.read() as connection:
        books = Books(connection=connection, farm=farm, profiles=Catalogue(farm["farm_id"]))
        return await room_night(books, room_id, span, await read_ledger(books, span))


async def test_the_dry_hour_is_one_dip_at_the_door_end(dry_night: Database, farm: dict[str, Any]) -> None:
    """97 falls by 1 a minute from 02:00: below 95 from 02:03, below 85 from 02:13; 78 from 02:19 to 02:45."""
    night = await told(dry_night, farm)

    (dip,) = night.dips
    assert (dip.quantity, dip.side, dip.worst) == (Quantity.HUMIDITY, Side.LOW, 78)
    assert dip.from_ms == farmyard.DRY_FROM_MS + 3 * MINUTE_MS
    assert dip.past_from_ms == farmyard.DRY_FROM_MS + 13 * MINUTE_MS
    assert (dip.worst_probe, night.places["h7-door"]) == ("h7-door", "door end")
    assert [c.label for c in night.crops] == ["Shiitake"]


async def test_the_room_now_is_its_farthest_out_probe(database: Database, farm: dict[str, Any]) -> None:
    await farmyard.dry_night(database, farm, to_ms=farmyard.DRY_FROM_MS + 30 * MINUTE_MS)
    span = newest_span(farm, farmyard.DRY_FROM_MS + 30 * MINUTE_MS)

    night = await told(database, farm, span=span)

    humidity = night.quantities[0]
    assert humidity.now is not None
    assert (humidity.now.value, humidity.now.side, humidity.now.edge) == (78, Side.LOW, 95)
    assert humidity.spread == (78, 98)
    assert night.dips[0].to_ms is None
    assert len(night.open_alarms) == 1


async def test_who_was_told_and_who_goes_stands_with_the_night(database: Database, farm: dict[str, Any]) -> None:
    half_past = farmyard.DRY_FROM_MS + 30 * MINUTE_MS
    await farmyard.dry_night(database, farm, to_ms=half_past)
    await farmyard.tell(database, farm, HandClock(half_past))
    await answer(
        database,
        farm["farm_id"],
        room_id="house-7",
        person_id="maria",
        word=Word.GOING,
        way="page",
        now_ms=half_past,
    )

    night = await told(database, farm)

    assert {(t["name"], t["state"]) for t in night.tellings} == {("Maria", "sent"), ("Ben", "sent")}
    assert [(a["name"], a["word"]) for a in night.answers] == [("Maria", "going")]


async def test_what_was_told_before_the_night_of_what_still_goes_on_stands_with_it(
    database: Database, farm: dict[str, Any]
) -> None:
    """The evening round comes while House 7 is dry: those who were told before it were told."""
    half_past = farmyard.DRY_FROM_MS + 30 * MINUTE_MS
    await farmyard.dry_night(database, farm, to_ms=half_past)
    await farmyard.tell(database, farm, HandClock(half_past))
    evening = {**farm, "evening_round_minute": 2 * 60 + 25, "morning_round_minute": 2 * 60 + 24}
    span = newest_span(evening, half_past)
    assert span.from_ms == farmyard.DRY_FROM_MS + 25 * MINUTE_MS

    night = await told(database, evening, span=span)

    assert {t["name"] for t in night.tellings} == {"Maria", "Ben"}
    assert all(t["at_ms"] < span.from_ms for t in night.tellings)
    assert [n["kind"] for n in night.notices] == ["trouble"]


async def test_an_earlier_night_has_its_own_readings_and_the_present_stays_the_present(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    before = night_span(farm, farmyard.YESTERDAY.replace(day=23), farmyard.NOW_MS)

    night = await told(dry_night, farm, span=before)

    assert night.dips == ()
    assert all(q.spread is None for q in night.quantities)
    assert all(q.now is not None for q in night.quantities)


async def test_the_band_steps_when_the_stage_changes(database: Database, farm: dict[str, Any]) -> None:
    step = farmyard.NIGHT_FROM_MS + 6 * HOUR_MS
    async with database.write() as connection:
        stay = {"batch_id": "SH-41", "valid_from_ms": step, "room_id": "house-7", "stage": "fruiting"}
        await crops.add_stay(connection, farm["farm_id"], {**stay, "recorded_ms": step, "who": "Ines"})

    night = await told(database, farm)

    humidity = next(q for q in night.quantities if q.quantity is Quantity.HUMIDITY)
    profile = await _profile(database, farm)
    bands = [profile.stage(name).bands[Quantity.HUMIDITY] for name in ("pinning", "fruiting")]
    assert [(b.from_ms, b.low) for b in humidity.bands] == [
        (farmyard.NIGHT_FROM_MS, bands[0].low and bands[0].low.value),
        (step, bands[1].low and bands[1].low.value),
    ]


@pytest.mark.parametrize(("profile", "shown"), [("shiitake", False), ("white_button", True)])
async def test_a_block_core_that_nobody_measures_shows_only_where_no_air_temperature_is_watched(
    database: Database, farm: dict[str, Any], profile: str, *, shown: bool
) -> None:
    """Shiitake incubates by the air of the room; button compost by its own warmth: the lack of a probe shows."""
    await grow_instead(database, profile, "incubation", at_ms=farmyard.NIGHT_FROM_MS - HOUR_MS)
    night = await told(database, farm)
    assert (Quantity.BLOCK_CORE in [q.quantity for q in night.quantities]) is shown


async def _profile(database: Database, farm: dict[str, Any]) -> Any:
    async with database.read() as connection:
        return await Catalogue(farm["farm_id"]).get(connection, "shiitake")


async def test_a_moved_probe_speaks_only_for_the_time_it_hung_here(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    moved = {"probe_id": "h7-door", "room_id": "house-3", "place": "door", "valid_from_ms": farmyard.DRY_FROM_MS}
    async with dry_night.write() as connection:
        await rooms.place_probe(connection, farm["farm_id"], {**moved, "recorded_ms": 0, "who": "Ines"})

    assert (await told(dry_night, farm)).dips == ()
    assert 78 in [d.worst for d in (await told(dry_night, farm, "house-3")).dips]


async def test_readings_that_came_the_next_morning_make_a_dip_learned_late(
    database: Database, farm: dict[str, Any]
) -> None:
    dry = farmyard.every(MINUTE_MS, farmyard.NIGHT_FROM_MS, farmyard.NOW_MS, farmyard.dry_humidity)
    await farmyard.send(database, farm["farm_id"], "h7-door", Quantity.HUMIDITY, dry, late_ms=4 * HOUR_MS)

    (dip,) = (await told(database, farm)).dips

    assert dip.learned_ms == dip.from_ms + 4 * HOUR_MS


async def test_an_empty_room_has_a_night_without_anything(database: Database, farm: dict[str, Any]) -> None:
    room = {"room_id": "house-9", "name": "House 9", "text_name": "House 9", "kind": "fruiting"}
    days = {"first_days_end_ms": farmyard.NOW_MS + DAY_MS, "created_ms": farmyard.NOW_MS, "who": "Ines"}
    async with database.write() as connection:
        await rooms.add_room(connection, farm["farm_id"], {**room, **days})

    night = await told(database, farm, "house-9")

    assert (night.crops, night.quantities, night.dips, night.alarms) == ((), (), (), ())


async def test_a_room_that_does_not_exist_is_said_to_be_so(database: Database, farm: dict[str, Any]) -> None:
    with pytest.raises(NotFound):
        await told(database, farm, "house-0")


@pytest.mark.parametrize(("value", "high"), [(900.0, False), (1_300.0, True)])
async def test_co2_above_its_band_is_high(
    database: Database, farm: dict[str, Any], value: float, *, high: bool
) -> None:
    points = farmyard.every(MINUTE_MS, farmyard.NOW_MS - HOUR_MS, farmyard.NOW_MS, lambda _at: value)
    await farmyard.send(database, farm["farm_id"], "h7-door", Quantity.CO2, points)

    assert (await told(database, farm)).co2_is_or_was_high is high
