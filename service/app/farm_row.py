"""The farm this service serves, and what is taken for one of which only the name on the wire is known."""

from __future__ import annotations

from typing import Any

from rules.model import Instant
from service.storage import rooms
from service.storage.database import Database
from service.storage.schema import make_room_for_readings
from service.watch.catalogue import copy_shipped


async def farm_row(database: Database, slug: str, now_ms: Instant) -> dict[str, Any]:
    """The farm's row, made at the first start, with the shipped profiles copied in."""
    async with database.write() as connection:
        row = await rooms.farm_by_slug(connection, slug)
        if row is None:
            await rooms.add_farm(connection, first_farm(slug, now_ms))
            # Read again: what was written lacks the columns that nothing is known of yet.
            row = await rooms.farm_by_slug(connection, slug) or {}
        await copy_shipped(connection, row["farm_id"], now_ms)
        await make_room_for_readings(connection, now_ms)
    return dict(row)


def first_farm(slug: str, now_ms: Instant) -> dict[str, Any]:
    """Plain defaults, to be corrected by whoever sets the farm up."""
    return {
        "slug": slug,
        "name": slug,
        "place": "",
        "zone": "UTC",
        "altitude_m": 0.0,
        "units": "metric",
        "language": "en",
        "room_word": "house",
        "invented": 0,
        "evening_round_minute": 18 * 60,
        "morning_round_minute": 6 * 60,
        "created_ms": now_ms,
        "who": "first start",
    }
