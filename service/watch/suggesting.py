"""Limits suggested for a room's first days, from what its probes measured in them."""

from __future__ import annotations

import asyncio
from typing import Final

from rules.limits import Key
from rules.model import DAY_MS, Instant
from rules.suggest import Suggestion, suggest
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.catalogue import Catalogue
from service.watch.replay import Changed, Replay

LONGEST_MS: Final = 31 * DAY_MS
"""First days that are drawn out for longer are looked at from so long before their end."""


async def suggestions(
    connection: Connection, farm: Record, room: Record, catalogue: Catalogue, *, to_ms: Instant
) -> dict[Key, Suggestion]:
    """Suggest limits from the room's creation up to a moment, for those that would have texted."""
    again = Replay(connection=connection, farm=farm, catalogue=catalogue)
    from_ms = max(room["created_ms"], to_ms - LONGEST_MS)
    past = await again.past(room, from_ms=from_ms, to_ms=to_ms, changed=Changed())
    if past is None:
        return {}
    found = await asyncio.to_thread(
        suggest, past.histories, schedule=past.schedule, from_ms=past.from_ms, until_ms=past.to_ms - 1
    )
    return {one.key: one for one in found}
