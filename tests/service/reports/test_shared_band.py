"""The bands of a room that crops share, over time, on both databases. Figures: the shipped profiles."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from pathlib import Path
from typing import Any

import pytest

from rules.compromise import to_facts
from rules.exposure import BandFrom
from rules.model import HOUR_MS, Instant, Quantity
from service.reports.growing import Growing, growing
from service.reports.night import Books, read_ledger, room_night
from service.reports.span import newest_span
from service.reports.words import Words
from service.storage import compromises, crops
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from tests.support import farmyard
from tests.support.databases import BOTH, postgres_database, sqlite_database

NOW = farmyard.NOW_MS
FIRST_MS = NOW - 4 * HOUR_MS
HUMIDITY = Quantity.HUMIDITY


@pytest.fixture(params=BOTH)
async def database(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncGenerator[Database]:
    if request.param == "sqlite":
        async with sqlite_database(tmp_path) as made:
            yield made
        return
    async with postgres_database(request.getfixturevalue("postgres_server")) as made:
        yield made


async def stand(
    database: Database, farm: dict[str, Any], stage: str, from_ms: Instant, *, room_id: str | None = "house-3"
) -> None:
    """Chestnuts beside the oysters that fruit in house 3, written down without asking whether they suit."""
    async with database.write() as connection:
        noted = {"recorded_ms": from_ms, "who": "Ines"}
        if from_ms == FIRST_MS:
            version = (await crops.profile(connection, farm["farm_id"], "chestnut"))["version"]
            batch = {"batch_id": "CH-1", "profile": "chestnut", "version": version, "strain": "", "count": 9}
            await crops.add_batch(connection, farm["farm_id"], {**batch, "container": "bag", **noted})
        stay = {"batch_id": "CH-1", "valid_from_ms": from_ms, "room_id": room_id, "stage": stage}
        await crops.add_stay(connection, farm["farm_id"], {**stay, **noted})


async def read(database: Database, farm: dict[str, Any]) -> Growing:
    async with database.read() as connection:
        return await growing(connection, farm["farm_id"], Catalogue(farm["farm_id"]), "house-3")


async def accept(database: Database, farm: dict[str, Any], from_ms: Instant, *, low: float, high: float) -> None:
    (clash,) = (await read(database, farm)).clashes_at(from_ms)
    facts = {**to_facts(clash.share), "low": low, "high": high}
    values = {"room_id": "house-3", "quantity": "humidity", "recorded_ms": NOW, "from_ms": from_ms, "who": "Ben"}
    async with database.write() as connection:
        row = {**values, "low": low, "high": high, "facts": facts}
        await compromises.add_compromise(connection, farm["farm_id"], row)


async def said(database: Database, farm: dict[str, Any]) -> list[str]:
    async with database.read() as connection:
        books = Books(connection=connection, farm=farm, profiles=Catalogue(farm["farm_id"]))
        span = newest_span(farm, NOW)
        night = await room_night(books, "house-3", span, await read_ledger(books, span))
    return Words(farm=farm, units=farm["units"], now_ms=NOW).shared(night)


async def test_the_band_of_a_shared_room_is_what_its_crops_have_in_common(
    database: Database, farm: dict[str, Any]
) -> None:
    """By hand: oysters fruit at 10-21 degC and 85-90 %, chestnuts at 12-18 and 85-95: 12-18 and 85-90."""
    await stand(database, farm, "fruiting", FIRST_MS)

    bands = (await read(database, farm)).bands(NOW - 6 * HOUR_MS, NOW)

    assert bands[Quantity.TEMPERATURE] == (
        BandFrom(from_ms=NOW - 6 * HOUR_MS, low=10, high=21),
        BandFrom(from_ms=FIRST_MS, low=12, high=18),
    )
    assert bands[HUMIDITY] == (BandFrom(from_ms=NOW - 6 * HOUR_MS, low=85, high=90),)
    assert await said(database, farm) == []


async def test_without_a_word_the_least_bad_band_is_shown_and_said_to_be_nobodys(
    database: Database, farm: dict[str, Any]
) -> None:
    """By hand: oysters end at 90, pins begin at 95: the gap itself, 92.5 and 2.5 either way (reach 4)."""
    await stand(database, farm, "pinning", FIRST_MS)

    bands = (await read(database, farm)).bands(NOW - HOUR_MS, NOW)

    assert bands[HUMIDITY] == (BandFrom(from_ms=NOW - HOUR_MS, low=90, high=95),)
    (line,) = await said(database, farm)
    assert line.endswith("Nobody has accepted a compromise; shown is the least bad band, 90 to 95%.")


async def test_a_stated_compromise_is_the_band_while_it_stands(database: Database, farm: dict[str, Any]) -> None:
    hours = [NOW - count * HOUR_MS for count in range(5)]
    await stand(database, farm, "pinning", hours[4])
    await accept(database, farm, hours[4], low=91, high=94)

    assert (await read(database, farm)).bands(hours[3], NOW)[HUMIDITY] == (
        BandFrom(from_ms=hours[3], low=91, high=94),
    )
    (line,) = await said(database, farm)
    assert line.startswith(
        "Humidity is a compromise since 03:10, accepted by Ben: 91 to 94%; Chestnut (pins) up to"
    )

    await stand(database, farm, "fruiting", hours[2])
    await stand(database, farm, "pinning", hours[1])
    assert [(b.low, b.high) for b in (await read(database, farm)).bands(hours[3], NOW)[HUMIDITY]] == [
        (91, 94),
        (85, 90),
        (90, 95),
    ]
    assert "Nobody has accepted" in (await said(database, farm))[0]
