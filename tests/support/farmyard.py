"""An invented farm on a real database: rooms, probes, crops, people, and a night in which one room went dry.

Plain functions, to be awaited in order; :func:`settle` does the first half, :func:`dry_night` the second. Alarms
and notices are not written by hand: the readings are judged as they would have been, minute by minute.
"""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import AsyncIterator, Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from datetime import date
from pathlib import Path
from typing import Any, Final

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from service.clock import Clock
from service.localtime import at_local
from service.messages import Decoded, Incoming, Understood
from service.notifications.address import Address
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome
from service.notifications.deliver import Deliver
from service.notifications.routing import Way
from service.notifications.writing import Writing
from service.storage import crops, people, rooms
from service.storage.database import Database
from service.watch.catalogue import Catalogue, copy_shipped
from service.watch.desk import Desk
from service.watch.horizon import Horizon
from service.watch.judge import SETTLE_MS, Judge
from service.watch.record import record
from service.watch.sweep import Sweep
from tests.support.databases import FILE, sqlite_database, sqlite_url

ZONE: Final = "America/New_York"
MORNING: Final = 6 * 60
EVENING: Final = 18 * 60
TODAY: Final = date(2026, 11, 25)
YESTERDAY: Final = date(2026, 11, 24)
NIGHT_FROM_MS: Final = at_local(YESTERDAY, EVENING, ZONE)
NIGHT_TO_MS: Final = at_local(TODAY, MORNING, ZONE)
NOW_MS: Final = NIGHT_TO_MS + 70 * MINUTE_MS
"""Ten past seven: the morning round is under way."""
DRY_FROM_MS: Final = NIGHT_FROM_MS + 8 * HOUR_MS
"""02:00: House 7 falls from 97 to 78 % and comes back by 03:00."""
WAY_LATE_MS: Final = 2 * SECOND_MS


ROOMS: Final = (
    ("house-7", "House 7", "House 7", "fruiting"),
    ("house-3", "House 3", "House 3", "fruiting"),
    ("cooler", "Cooler", "Cooler", "packing cooler"),
)
PROBES: Final = (
    ("h7-door", "house-7", "door end"),
    ("h7-back", "house-7", "back"),
    ("h3-middle", "house-3", "middle"),
    ("cooler-1", "cooler", "by the evaporator"),
)
CROPS: Final = (
    ("SH-41", "shiitake", "pinning", "house-7", 36 * HOUR_MS),
    ("OY-18", "grey_oyster", "fruiting", "house-3", 60 * HOUR_MS),
    ("PICKED", "cold_storage", "storage", "cooler", 10 * DAY_MS),
)
PEOPLE: Final = (
    ("maria", "Maria", "+12025550141", "maria@example.org", "us"),
    ("ben", "Ben", "+12025550142", "ben@example.org", "metric"),
    ("old-hand", "Old Hand", None, None, "us"),
)


async def settle(database: Database, *, at_ms: Instant = NOW_MS, **farm: Any) -> dict[str, Any]:
    """The farm, its rooms, probes, crops and people, all there long before ``at_ms``; return the farm's row."""
    row = await add_farm(database, **farm)
    await add_rooms(database, row["farm_id"], at_ms - 10 * DAY_MS)
    await add_crops(database, row["farm_id"], at_ms)
    await add_people(database, row["farm_id"], at_ms - 10 * DAY_MS)
    return row


async def add_farm(database: Database, **changes: Any) -> dict[str, Any]:
    values = {
        "slug": "tansy",
        "name": "Tansy Hollow Mushrooms",
        "place": "an invented hollow",
        "zone": ZONE,
        "altitude_m": 310.0,
        "units": "us",
        "language": "en",
        "room_word": "house",
        "invented": 1,
        "morning_round_minute": MORNING,
        "evening_round_minute": EVENING,
        "people_8h_ppm": None,
        "people_15min_ppm": None,
        "people_ceiling_ppm": None,
        "created_ms": NOW_MS - 20 * DAY_MS,
        "who": "Ines",
        **changes,
    }
    async with database.write() as connection:
        farm_id = await rooms.add_farm(connection, values)
        await copy_shipped(connection, farm_id, NOW_MS - 20 * DAY_MS)
    return {**values, "farm_id": farm_id}


async def add_rooms(database: Database, farm_id: int, at_ms: Instant) -> None:
    """Rooms whose first days are over, each with its probes in place."""
    async with database.write() as connection:
        for room_id, name, text_name, kind in ROOMS:
            row = {"room_id": room_id, "name": name, "text_name": text_name, "kind": kind}
            days = {"first_days_end_ms": at_ms + 7 * DAY_MS, "created_ms": at_ms, "who": "Ines"}
            await rooms.add_room(connection, farm_id, {**row, **days})
        for probe_id, room_id, place in PROBES:
            hung = {"probe_id": probe_id, "room_id": room_id, "place": place}
            when = {"valid_from_ms": at_ms, "recorded_ms": at_ms, "who": "Ines"}
            await rooms.place_probe(connection, farm_id, {**hung, **when})


async def add_crops(database: Database, farm_id: int, at_ms: Instant) -> None:
    """Batches in their rooms, their figures confirmed by a named person."""
    async with database.write() as connection:
        for batch_id, profile, stage, room_id, before_ms in CROPS:
            since = at_ms - before_ms
            version = (await crops.profile(connection, farm_id, profile))["version"]
            noted = {"recorded_ms": since, "who": "Ines"}
            batch = {"batch_id": batch_id, "profile": profile, "version": version, "strain": "", "count": 400}
            await crops.add_batch(connection, farm_id, {**batch, "container": "block", **noted})
            stay = {"batch_id": batch_id, "valid_from_ms": since, "room_id": room_id, "stage": stage}
            await crops.add_stay(connection, farm_id, {**stay, **noted})
            stands = {"profile": profile, "version": version, "stage": stage, **noted}
            await crops.confirm(connection, farm_id, stands)


async def add_people(database: Database, farm_id: int, at_ms: Instant) -> None:
    async with database.write() as connection:
        for person_id, name, phone, email, units in PEOPLE:
            known = {"person_id": person_id, "name": name, "phone": phone, "email": email, "units": units}
            noted = {"language": "en", "active": 1, "recorded_ms": at_ms, "who": "Ines"}
            await people.save_person(connection, farm_id, {**known, **noted})
        for daypart in ("day", "night"):
            lines = [("maria", 0), ("ben", 10 * MINUTE_MS)]
            await people.set_call_list(connection, farm_id, daypart, lines, who="Ines", recorded_ms=at_ms)


async def send(
    database: Database,
    farm_id: int,
    probe: str,
    quantity: Quantity,
    points: Iterable[tuple[Instant, float]],
    *,
    late_ms: int = WAY_LATE_MS,
) -> None:
    """Record readings of one series as if each came in a message of its own."""
    batch = []
    for at_ms, value in points:
        reading = Reading(probe=ProbeId(probe), quantity=quantity, at_ms=at_ms, value=value)
        incoming = Incoming(topic=f"houseband/tansy/{probe}", payload=b"", received_ms=at_ms + late_ms)
        decoded = Decoded(understood=(Understood(reading=reading, timed=True),), heard=frozenset({ProbeId(probe)}))
        batch.append((incoming, decoded))
    for start in range(0, len(batch), 500):
        await record(database, farm_id, batch[start : start + 500])


def every(step_ms: int, from_ms: Instant, to_ms: Instant, value: Callable[[Instant], float]) -> list[Any]:
    return [(at, value(at)) for at in range(from_ms, to_ms, step_ms)]


def dry_humidity(at_ms: Instant) -> float:
    """97 %, with an hour from 02:00 in which it falls to 78 and comes back; always whole numbers."""
    into = (at_ms - DRY_FROM_MS) / MINUTE_MS
    if into < 0 or into >= 60:
        return 97.0
    return float(round(97 - into if into < 19 else 78 if into < 45 else 78 + (into - 45) * 19 / 15))


async def send_night(database: Database, farm_id: int, *, to_ms: Instant = NOW_MS) -> None:
    """Readings of all rooms from the evening round to ``to_ms``; House 7 is dry from 02:00 to 03:00."""
    steady = {
        ("h7-door", Quantity.TEMPERATURE): 15.5,
        ("h7-door", Quantity.CO2): 870.0,
        ("h7-back", Quantity.HUMIDITY): 98.0,
        ("h3-middle", Quantity.TEMPERATURE): 15.0,
        ("h3-middle", Quantity.HUMIDITY): 90.0,
        ("h3-middle", Quantity.CO2): 700.0,
        ("cooler-1", Quantity.TEMPERATURE): 2.0,
        ("cooler-1", Quantity.HUMIDITY): 92.0,
    }
    for (probe, quantity), value in steady.items():
        points = every(5 * MINUTE_MS, NIGHT_FROM_MS, to_ms, lambda _at, v=value: v)  # type: ignore[misc]
        await send(database, farm_id, probe, quantity, points)
    dry = every(MINUTE_MS, NIGHT_FROM_MS, to_ms, dry_humidity)
    await send(database, farm_id, "h7-door", Quantity.HUMIDITY, dry)


async def judge_as_it_went(
    database: Database, farm: dict[str, Any], *, from_ms: Instant, to_ms: Instant, step_ms: int = 10 * MINUTE_MS
) -> None:
    """Judge every room again and again while farm time passes, as the sweep would have."""
    judge = Judge(database, farm, Catalogue(farm["farm_id"]))
    for now_ms in [*range(from_ms, to_ms, step_ms), to_ms]:
        for room_id in await judge.rooms_due(now_ms - SETTLE_MS):
            await judge.judge(room_id, until_ms=now_ms - SETTLE_MS, now_ms=now_ms)


async def dry_night(database: Database, farm: dict[str, Any], *, to_ms: Instant = NOW_MS) -> None:
    """The night as it went: readings, and what they were judged to be; nobody is told of it yet (``tell``)."""
    await send_night(database, farm["farm_id"], to_ms=to_ms)
    before, after = min(DRY_FROM_MS, to_ms), min(DRY_FROM_MS + 2 * HOUR_MS, to_ms)
    await judge_as_it_went(database, farm, from_ms=NIGHT_FROM_MS, to_ms=before, step_ms=2 * HOUR_MS)
    await judge_as_it_went(database, farm, from_ms=before, to_ms=after, step_ms=2 * MINUTE_MS)
    await judge_as_it_went(database, farm, from_ms=after, to_ms=to_ms, step_ms=HOUR_MS)


def write_dry_night(folder: Path) -> Path:
    """A database file with the farm and its dry night, to be copied by tests that only look; takes seconds."""

    async def write() -> None:
        async with sqlite_database(folder) as database:
            await dry_night(database, await settle(database))

    with ThreadPoolExecutor(max_workers=1) as elsewhere:  # no other loop must be running where this one runs
        elsewhere.submit(asyncio.run, write()).result()
    return folder / FILE


@asynccontextmanager
async def open_copy(file: Path, folder: Path) -> AsyncIterator[Database]:
    """A copy of a database file in a folder of its own, closed at the end."""
    shutil.copy(file, folder / FILE)
    database = Database(sqlite_url(folder))
    try:
        yield database
    finally:
        await database.close()


async def the_farm(database: Database) -> dict[str, Any]:
    """The row of the farm that :func:`settle` made."""
    async with database.read() as connection:
        return dict(await rooms.farm_by_slug(connection, "tansy") or {})


class Willing:
    """A carrier that takes everything and keeps it."""

    def __init__(self) -> None:
        self.carried: list[Message] = []

    async def carry(self, message: Message) -> Outcome:
        self.carried.append(message)
        return Accepted(detail="taken")


async def tell(database: Database, farm: dict[str, Any], clock: Clock) -> list[Message]:
    """Tell people what there is to tell at this moment, as the service would; return what was carried."""
    carrier = Willing()
    carriers = dict.fromkeys(Way, carrier)
    await Address(database=database, farm=farm, clock=clock).all_notices()
    await Deliver(
        database=database, farm=farm, clock=clock, carriers=carriers, writing=Writing(farm=farm)
    ).all_due()
    return carrier.carried


def desk(database: Database, farm: dict[str, Any], clock: Clock) -> Desk:
    """A desk on the farm with nothing behind it: no broker, no way to tell."""
    catalogue, horizon = Catalogue(farm["farm_id"]), Horizon(listens=False)
    sweep = Sweep(judge=Judge(database, farm, catalogue), horizon=horizon, clock=clock)
    return Desk(
        database=database,
        farm=farm,
        clock=clock,
        catalogue=catalogue,
        horizon=horizon,
        sweep=sweep,
        recorded=lambda _rooms: None,
        broker_heard_ms=lambda: None,
        messages_waiting=lambda: 0,
        ways=frozenset(),
    )
