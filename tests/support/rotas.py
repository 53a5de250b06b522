"""People, call lists and rotas written straight into a database, for tests of who is on call."""

from __future__ import annotations

from typing import Any, Final

from rules.model import MINUTE_MS
from service.storage import people
from service.storage.database import Database

ZONE: Final = "America/New_York"
FARM_ID: Final = 1


def farm_row(**change: Any) -> dict[str, Any]:
    """What is asked of a farm to know its nights."""
    rounds = {"evening_round_minute": 18 * 60, "morning_round_minute": 6 * 60}
    return {"farm_id": FARM_ID, "zone": ZONE, **rounds, **change}


async def person(database: Database, *ids: str, **change: Any) -> None:
    """Add people with a phone, or whatever is said instead."""
    async with database.write() as connection:
        for number, person_id in enumerate(ids):
            known = {"person_id": person_id, "name": person_id.title(), "phone": f"+1202555010{number}"}
            noted = {
                "email": None,
                "units": "metric",
                "language": "en",
                "active": 1,
                "recorded_ms": 0,
                "who": "Ines",
            }
            fresh = {
                "manager": 0, "way": "text", "room_ids": None, "hours_from_minute": None, "hours_to_minute": None,
                "morning_text": 0, "round_trip_ms": None, "rang_ms": None, "opted_out_ms": None,
            }  # fmt: skip
            await people.save_person(connection, FARM_ID, {**fresh, **known, **noted, **change})


async def lines(database: Database, *of: tuple[str, float], daypart: str = "night") -> None:
    """Set a call list: (person, minutes after the first)."""
    async with database.write() as connection:
        rows = [(who, round(after * MINUTE_MS)) for who, after in of]
        await people.set_call_list(connection, FARM_ID, daypart, rows, who="Ines", recorded_ms=0)
