"""People, call lists and rotas written straight into a database, for tests of who is on call."""

from __future__ import annotations

from typing import Any, Final

from rules.model import MINUTE_MS, Instant
from service.storage import people, rota
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
    """Set a call list: (person, or "rota:" and a rota, minutes after the first)."""
    rows = [
        {
            "person_id": None if name.startswith("rota:") else name,
            "rota_id": name.removeprefix("rota:") if name.startswith("rota:") else None,
            "after_ms": round(after * MINUTE_MS),
        }
        for name, after in of
    ]
    async with database.write() as connection:
        await people.set_lines(connection, FARM_ID, daypart, rows, who="Ines", recorded_ms=0)


async def turn(
    database: Database, person_id: str, starts: str, minutes: int, rrule: str = "", *, rota_id: str = "nights"
) -> None:
    """Give somebody turns of a rota."""
    async with database.write() as connection:
        noted = {"recorded_ms": 0, "who": "Ines"}
        await rota.save_rota(connection, FARM_ID, {"rota_id": rota_id, "name": rota_id.title(), **noted})
        written = {"rota_id": rota_id, "turn_id": f"{person_id}-{starts}", "person_id": person_id, "rrule": rrule}
        await rota.save_turn(connection, FARM_ID, {**written, "starts_local": starts, "minutes": minutes, **noted})


async def swap(
    database: Database, person_id: str, from_ms: Instant, until_ms: Instant, *, recorded_ms: Instant = 0
) -> None:
    """Somebody takes the turn of the rota "nights"."""
    key = f"swap-{person_id}-{from_ms}-{recorded_ms}"
    row = {"swap_id": key, "rota_id": "nights", "person_id": person_id, "from_ms": from_ms, "until_ms": until_ms}
    async with database.write() as connection:
        await rota.add_swap(
            connection, FARM_ID, {**row, "ended_ms": None, "recorded_ms": recorded_ms, "who": "Ines"}
        )


async def absence(
    database: Database,
    person_id: str,
    from_ms: Instant,
    until_ms: Instant,
    *,
    instead: str | None = None,
    recorded_ms: Instant = 0,
) -> None:
    """Somebody is away."""
    key = f"away-{person_id}-{from_ms}-{recorded_ms}"
    row = {"absence_id": key, "person_id": person_id, "from_ms": from_ms, "until_ms": until_ms, "why": "holiday"}
    async with database.write() as connection:
        noted = {"instead_id": instead, "ended_ms": None, "recorded_ms": recorded_ms, "who": "Ines"}
        await rota.add_absence(connection, FARM_ID, {**row, **noted})
