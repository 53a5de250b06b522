"""What is so in a room now, as the facts of texts: of its crops' open limits, and of limits for people."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rules.people import PEOPLE_KEY, Level
from service.storage import people_air
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.judge import Judge
from service.watch.people_watch import limits_of


@dataclass(frozen=True, slots=True, kw_only=True)
class FactsNow:
    """Asks one farm."""

    farm: Record
    judge: Judge

    async def of(self, connection: Connection, room_id: str) -> list[dict[str, Any]]:
        """Everything that is open in a room, each as the facts of a text of now would have it."""
        over = await self.for_people(connection, room_id)
        quantity, side = PEOPLE_KEY
        people = [{"quantity": quantity.value, "side": side.value, **over}] if over else []
        return [*await self.judge.standing_facts(connection, room_id), *people]

    async def for_people(self, connection: Connection, room_id: str) -> dict[str, Any]:
        """The deepest limit for people that is passed now, by which figure; empty when none is."""
        kept = (await people_air.remembered(connection, self.farm["farm_id"], room_id)).state
        passed = {} if kept is None else kept["figures"]["passed"]
        if not passed:
            return {}
        level = max((Level(name) for name in passed), key=lambda each: each.depth)
        said = passed[level.value]
        limit = limits_of(self.farm).of(level)
        return {"level": level.value, "value": said["ppm"], "at_least": said["at_least"], "limit": limit}
