"""House 7 of the invented farm, watched: shiitake pins, told below 85 %RH for 8 minutes, over at 88 for 5 minutes.

Minutes count from :data:`farmyard.NOW_MS`. The figures are those of the shipped shiitake profile, stage pinning.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from rules.model import DAY_MS, MINUTE_MS, Instant, Quantity
from service.storage import crops, rooms
from service.storage.database import Database
from service.storage.figures import set_figure
from service.watch.catalogue import Catalogue
from service.watch.judge import SETTLE_MS, Judge, Judged
from tests.support import farmyard

ROOM: Final = "house-7"
DOOR: Final = "h7-door"
BACK: Final = "h7-back"
GOOD, DRY, VERY_DRY = 97.0, 80.0, 60.0

DRY_HALF_HOUR: Final = [*[GOOD] * 5, *[DRY] * 20, *[GOOD] * 15]
"""Below the limit from minute 5 to 25: raised at minute 13, over at minute 30."""


def minute(count: float) -> Instant:
    return farmyard.NOW_MS + round(count * MINUTE_MS)


async def watched_farm(database: Database) -> dict[str, Any]:
    """The farm with everything in place; House 7 is judged up to minute -1. No text waits for other rooms."""
    farm = await farmyard.settle(database)
    await at_once(database)
    await Judge(database, farm, Catalogue(farm["farm_id"])).judge(ROOM, until_ms=minute(-1), now_ms=minute(0))
    return farm


async def at_once(database: Database) -> None:
    """Texts about one room do not wait to see whether others follow."""
    async with database.write() as connection:
        await set_figure(connection, 1, "merge_wait_seconds", 0, who="Ines", now_ms=0)


async def hear(
    database: Database,
    values: Iterable[float],
    *,
    start: float = 0,
    step: float = 1,
    probe: str = DOOR,
    quantity: Quantity = Quantity.HUMIDITY,
    late_ms: int = farmyard.WAY_LATE_MS,
) -> None:
    """Record one value after another."""
    points = [(minute(start + n * step), value) for n, value in enumerate(values)]
    await farmyard.send(database, 1, probe, quantity, points, late_ms=late_ms)


async def judge_at(
    database: Database, farm: dict[str, Any], *minutes: float, room_id: str = ROOM
) -> Sequence[Judged]:
    """Judge the room as a sweep at each of these minutes would."""
    judge = Judge(database, farm, Catalogue(farm["farm_id"]))
    return [
        await judge.judge(room_id, until_ms=minute(count) - SETTLE_MS, now_ms=minute(count)) for count in minutes
    ]


async def change_stage(database: Database, stage: str, *, at: float, batch: str = "SH-41") -> None:
    async with database.write() as connection:
        stay = {"batch_id": batch, "valid_from_ms": minute(at), "recorded_ms": minute(at), "room_id": ROOM}
        await crops.add_stay(connection, 1, {**stay, "stage": stage, "who": "Ines"})


async def move_batch(database: Database, batch: str, room_id: str | None, *, at: float) -> None:
    """Write down where a batch is since a minute."""
    async with database.write() as connection:
        stay = {"batch_id": batch, "valid_from_ms": minute(at), "recorded_ms": minute(at), "room_id": room_id}
        await crops.add_stay(connection, 1, {**stay, "stage": "pinning", "who": "Ines"})


async def add_batch(database: Database, batch: str, *, at: float) -> None:
    """Another batch of shiitake pins in House 7."""
    async with database.write() as connection:
        version = (await crops.profile(connection, 1, "shiitake"))["version"]
        made = {"batch_id": batch, "profile": "shiitake", "version": version, "strain": "", "count": 200}
        await crops.add_batch(
            connection, 1, {**made, "container": "block", "recorded_ms": minute(at), "who": "Ines"}
        )
    await move_batch(database, batch, ROOM, at=at)


async def restart_first_days(database: Database, *, end: float = 7 * 24 * 60) -> None:
    async with database.write() as connection:
        await rooms.end_first_days(connection, 1, ROOM, minute(end), who="Ines")


async def add_unconfirmed(database: Database, *, at_ms: Instant = farmyard.NOW_MS - DAY_MS) -> None:
    """A batch of nameko, whose figures nobody stands for, takes the place of the shiitake."""
    await grow_instead(database, "nameko", "pinning", at_ms=at_ms)


async def grow_instead(database: Database, profile: str, stage: str, *, at_ms: Instant) -> None:
    """A batch of another species takes the place of the shiitake."""
    async with database.write() as connection:
        noted = {"recorded_ms": at_ms, "who": "Ines"}
        version = (await crops.profile(connection, 1, profile))["version"]
        batch = {"batch_id": "NA-1", "profile": profile, "version": version, "strain": "", "count": 200}
        await crops.add_batch(connection, 1, {**batch, "container": "bag", **noted})
        stay = {"batch_id": "NA-1", "valid_from_ms": at_ms, "room_id": ROOM, "stage": stage}
        await crops.add_stay(connection, 1, {**stay, **noted})
        gone = {"batch_id": "SH-41", "valid_from_ms": at_ms, "room_id": None, "stage": "pinning"}
        await crops.add_stay(connection, 1, {**gone, **noted})
