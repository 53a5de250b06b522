"""House 7 and its air, as people breathe it: CO2 heard at its door, judged, and told.

Minutes count from :data:`tests.support.farmyard.NOW_MS`, ten past seven in the morning; the evening round of that
day is minute 650, the next morning round minute 1370.
"""

from __future__ import annotations

import json
from typing import Any, Final

from rules.model import MINUTE_MS, Quantity, Side
from service.notifications.carriers.message import Message
from service.storage import holds, people_air
from service.storage.database import Database
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.watched import DOOR, ROOM, grow_instead, hear, minute
from tests.support.written import notices, written

NIGHT: Final = 700
"""Ten to seven in the evening: nobody is at work."""
EVENING_ROUND, MORNING_ROUND = 650, 1370
HIGH_ALL_DAY: Final = 25_000.0
"""Under the short-term limit; it passes the limit over eight hours in 96 minutes."""
HIGH_NOW: Final = 40_000.0
FRESH: Final = 800.0


async def breathe(database: Database, values: list[float], *, start: float, step: float = 1, **sent: Any) -> None:
    """CO2 at the door of House 7, one value after another."""
    await hear(database, values, start=start, step=step, quantity=Quantity.CO2, **{"probe": DOOR, **sent})


async def said(database: Database) -> list[tuple[str, str, float]]:
    """Kind, telling and minute of every notice about limits for people."""
    found = [n for n in await notices(database) if json.loads(n["facts"]).get("side") == "people"]
    return [(n["kind"], n["telling"], (n["at_ms"] - minute(0)) / MINUTE_MS) for n in found]


async def facts_of(database: Database, kind: str) -> list[dict[str, Any]]:
    """The facts of notices of a kind, in order of time."""
    return [json.loads(n["facts"]) for n in await notices(database, kind=kind)]


async def moved(database: Database) -> list[tuple[str, float]]:
    """What happened to the alarm of people limits, and at which minute."""
    rows = sorted(await written(database, "transitions", side="people"), key=lambda row: row["at_ms"])
    return [(row["happens"], (row["at_ms"] - minute(0)) / MINUTE_MS) for row in rows]


async def tell(database: Database, farm: dict[str, Any], *, at: float) -> list[Message]:
    """What is carried at that minute about limits for people; the crop has a CO2 limit of its own."""
    carried = await farmyard.tell(database, farm, HandClock(minute(at)))
    return [message for message in carried if (message.facts or {}).get("side") == Side.PEOPLE]


async def work_in(
    database: Database,
    *,
    at: float,
    until: float,
    hold_id: str = "W1",
    person: str | None = "ben",
    room: str | None = ROOM,
    kind: str = holds.WORKING,
) -> None:
    """Somebody is logged inside from one minute to another; or leaves the crop limits until then."""
    row = holds.HoldRow(
        hold_id=hold_id,
        kind=kind,
        room_id=room,
        quantity=None,
        side=None,
        person_id=person,
        from_ms=minute(at),
        until_ms=minute(until),
        ended_ms=None,
        ended_by=None,
        why="picking",
        recorded_ms=minute(at),
        who="Ben",
    )
    async with database.write() as connection:
        await holds.add_hold(connection, 1, row)


async def grow_above_on_purpose(database: Database) -> None:
    """Button mushrooms colonizing: they like far more CO2 than people may be in."""
    await grow_instead(database, "white_button", "incubation", at_ms=minute(-60))


async def reads_no_higher_than(database: Database, ppm: float, *, probe: str = DOOR) -> None:
    """The top of a probe becomes known."""
    async with database.write() as connection:
        await people_air.set_top(connection, 1, probe, ppm, who="Ines", at_ms=0)
