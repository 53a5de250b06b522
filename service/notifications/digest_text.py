"""The morning's two lines, handed to whoever asked for them: from there they go the way of every text.

What a person is sent is written down in one commit with the row that says so: there is one text to a morning, even
with two processes, and it is tried again and shown like any other.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

from rules.model import Instant
from service.clock import Clock
from service.localtime import at_local, local_date
from service.notifications.digest_due import Due
from service.notifications.digest_mail import is_in
from service.notifications.routing import Way
from service.reports.morning_text import morning_facts
from service.reports.round_sheet import RoundSheet
from service.storage import digests, outbox, people
from service.storage.database import Connection, Database
from service.storage.rows import Record
from service.watch.on_call import call_list

KIND = "morning"
"""The kind of its notices."""


@dataclass(slots=True, kw_only=True)
class DigestText:
    """Hands over the morning's texts."""

    database: Database
    clock: Clock

    async def hand_over(self, farm: Record, due: Due, read_sheet: Callable[[], Awaitable[RoundSheet]]) -> int:
        """Hand over the texts of a round that is due; return how many.

        Args:
            farm: the farm's row as it was when this look began.
            due: the round.
            read_sheet: reads the sheet of the night; only asked when there is something to say.
        """
        now_ms = self.clock.now_ms()
        if not due.is_on(now_ms):
            return 0
        async with self.database.read() as connection:
            rows = await digests.digest_rows(connection, farm["farm_id"], due.kind, due.date)
            everyone = await people.all_people(connection, farm["farm_id"])
        to = [p for p in everyone if _wants_it(p) and p["person_id"] not in rows and is_in(p, rows)]
        if digests.ROUND in rows and not to:
            return 0
        facts = morning_facts(await read_sheet(), on_call=await self._on_call(farm, now_ms)) if to else None
        async with self.database.write() as connection:
            await digests.begin_round(connection, farm["farm_id"], due.kind, due.date, now_ms)
            if facts is None:
                return 0
            taken = [
                await _take(connection, farm["farm_id"], due, p["person_id"], facts, now_ms=now_ms) for p in to
            ]
        return sum(taken)

    async def _on_call(self, farm: Record, now_ms: Instant) -> str | None:
        """Who is first on call tonight."""
        today = local_date(now_ms, farm["zone"])
        evening_ms = at_local(today, farm["evening_round_minute"], farm["zone"])
        async with self.database.read() as connection:
            calls = await call_list(connection, farm, at_ms=evening_ms, room_id=None)
        return str(calls[0]["name"]) if calls else None


async def _take(
    connection: Connection, farm_id: int, due: Due, person_id: str, facts: dict[str, Any], *, now_ms: Instant
) -> bool:
    """Write one text into the outbox, unless another process has."""
    row = {
        "kind": due.kind,
        "person_id": person_id,
        "local_date": due.date,
        "at_ms": now_ms,
        "state": digests.SENT,
        "attempts": 1,
        "next_ms": now_ms,
        "detail": "handed over",
    }
    if not await digests.claim_digest(connection, farm_id, row):
        return False
    notice = {
        "notice_key": f"{KIND}/{due.date}/{person_id}",
        "kind": KIND,
        "room_id": None,
        "happening_id": None,
        "at_ms": due.from_ms,
        "decided_ms": now_ms,
        "use_by_ms": due.until_ms,
        "facts": facts,
    }
    await outbox.add_direct(connection, farm_id, notice, person_id=person_id, way=Way.TEXT.value)
    return True


def _wants_it(person: Record) -> bool:
    return bool(person["active"] and person["morning_text"] and person["phone"] and person["opted_out_ms"] is None)
