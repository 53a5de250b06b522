"""How long the round sheet and a room's page take, beside only reading the night's readings.

Farms of 8 and 33 rooms, each with one probe that measured three quantities every minute of the night, and an hour
in which one room went dry.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Any, Final

import httpx
import pytest

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, ProbeId, Quantity
from service.reports.night import SHOWN
from service.storage import crops, nights, readings, rooms
from service.storage.database import Connection, Database
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.databases import sqlite_database
from tests.support.figures import quickest_of, show
from tests.support.page_server import application

FROM_MS: Final = farmyard.NIGHT_FROM_MS - HOUR_MS
STEADY: Final = {Quantity.TEMPERATURE: 15.5, Quantity.CO2: 870.0}


@pytest.mark.parametrize("count", [8, 33])
async def test_pages(count: int, tmp_path: Path) -> None:
    async with sqlite_database(tmp_path) as database:
        farm = await _farm_of(database, count)
        desk = farmyard.desk(database, farm, HandClock(farmyard.NOW_MS))
        transport = httpx.ASGITransport(app=application(desk))
        async with httpx.AsyncClient(transport=transport, base_url="http://farm.local") as client:
            sheet, page = await client.get("/"), await client.get("/rooms/r0")
            assert (sheet.status_code, page.status_code) == (200, 200)
            assert all(f">Room {n}<" in sheet.text for n in range(count))
            await _time(count, database, client)


async def _time(count: int, database: Database, client: httpx.AsyncClient) -> None:
    everywhere = [f"p{n}" for n in range(count)]
    works: list[tuple[str, int, Callable[[], Awaitable[object]]]] = [
        ("read one room's readings", 1, partial(_read, database, ["p0"])),
        ("the room's page", 1, partial(client.get, "/rooms/r0")),
        ("read all rooms' readings", 1, partial(_read, database, everywhere)),
        ("the round sheet", 1, partial(client.get, "/")),
        ("a page with nothing in it", 1, partial(client.get, "/nowhere")),
    ]
    one, page, all_of_them, sheet, empty = await quickest_of(works, rounds=5)
    show(f"A room's page, farm of {count} rooms", [one, page, empty], against=one, each="pages")
    show(f"The round sheet, farm of {count} rooms", [all_of_them, sheet, empty], against=all_of_them, each="pages")


async def _read(database: Database, probes: list[str]) -> list[nights.Heard]:
    async with database.read() as connection:
        span = {"from_ms": FROM_MS, "to_ms": farmyard.NOW_MS}
        return [h for p in probes for h in await nights.heard_in(connection, 1, [p], SHOWN, **span)]


async def _farm_of(database: Database, count: int) -> dict[str, Any]:
    """So many rooms of pinning shiitake after a night; judged in portions, as after a gap."""
    farm = await farmyard.add_farm(database)
    async with database.write() as connection:
        for number in range(count):
            await _add_room(connection, number)
            await _add_night(connection, number)
    half = farmyard.DRY_FROM_MS + HOUR_MS // 2
    for from_ms, to_ms in ((farmyard.NIGHT_FROM_MS, half), (half, farmyard.NOW_MS)):
        await farmyard.judge_as_it_went(database, farm, from_ms=from_ms, to_ms=to_ms, step_ms=DAY_MS)
    return farm


async def _add_room(connection: Connection, number: int) -> None:
    since_ms = farmyard.NIGHT_FROM_MS - 10 * DAY_MS
    room, noted = f"r{number}", {"recorded_ms": since_ms, "who": "Ines"}
    named = {"room_id": room, "name": f"Room {number}", "text_name": f"Room {number}", "kind": "fruiting"}
    made = {"first_days_end_ms": since_ms, "created_ms": farmyard.NIGHT_FROM_MS, "who": "Ines"}
    await rooms.add_room(connection, 1, {**named, **made})
    hung = {"probe_id": f"p{number}", "room_id": room, "place": "middle", "valid_from_ms": since_ms}
    await rooms.place_probe(connection, 1, {**hung, **noted})
    version = (await crops.profile(connection, 1, "shiitake"))["version"]
    batch = {"batch_id": f"B{number}", "profile": "shiitake", "version": version, "strain": "", "count": 400}
    await crops.add_batch(connection, 1, {**batch, "container": "block", **noted})
    stay = {"batch_id": f"B{number}", "valid_from_ms": since_ms, "room_id": room, "stage": "pinning"}
    await crops.add_stay(connection, 1, {**stay, **noted})
    if number == 0:
        stands = {"profile": "shiitake", "version": version, "stage": "pinning", **noted}
        await crops.confirm(connection, 1, stands)


async def _add_night(connection: Connection, number: int) -> None:
    """In the first room humidity falls, in the others it stays."""
    probe = ProbeId(f"p{number}")
    ids = await readings.series_ids(connection, 1, {(probe, q) for q in (*STEADY, Quantity.HUMIDITY)})
    rows = []
    for at_ms in range(FROM_MS, farmyard.NOW_MS, MINUTE_MS):
        humidity = farmyard.dry_humidity(at_ms) if number == 0 else 97.0
        for quantity, value in {**STEADY, Quantity.HUMIDITY: humidity}.items():
            rows.append(readings.Row(series_id=ids[probe, quantity], at_ms=at_ms, value=value, late_ms=2000))
    await readings.insert_new(connection, 1, rows)
    await readings.heard(connection, 1, {probe: readings.Heard(first_ms=FROM_MS, last_ms=farmyard.NOW_MS)})
