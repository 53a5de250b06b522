"""The weekly test text, in daylight: whoever could be woken at night is sent one, once, and is asked to answer.

Due on a day of the week from a minute of the farm's day, for two hours. A service that was down catches up within
that time; later on the day it is left out, so that nobody is tested at night. One row for each person and calendar
day says that it went out, written in the transaction that sends it: an hour that comes twice sends nothing twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.model import HOUR_MS, Instant
from service.clock import Clock
from service.localtime import at_local, local_date
from service.log import log
from service.storage import digests, people
from service.storage.database import Database
from service.storage.figures import Figures, figures_of
from service.storage.rows import Record
from service.watch.trials import TrialSender

TRIAL: Final = "trial"
CATCH_UP_MS: Final = 2 * HOUR_MS


@dataclass(slots=True, kw_only=True)
class Trials:
    """Sends the weekly tests of one farm."""

    database: Database
    farm: Record
    clock: Clock
    sender: TrialSender

    async def all_due(self) -> int:
        """Send what is due now; return to how many people.

        Raises:
            PassingError: the database cannot be used just now; what was not sent is sent next time.
        """
        now_ms, farm_id = self.clock.now_ms(), self.farm["farm_id"]
        async with self.database.read() as connection:
            if not is_due(await figures_of(connection, farm_id), self.farm["zone"], now_ms):
                return 0
            date = local_date(now_ms, self.farm["zone"]).isoformat()
            done = await digests.digest_rows(connection, farm_id, TRIAL, date)
            everybody = await people.all_people(connection, farm_id)
        due = [person for person in everybody if person["active"] and person["person_id"] not in done]
        sent = [await self._send(person["person_id"], date, now_ms) for person in due]
        return sum(sent)

    async def _send(self, person_id: str, date: str, now_ms: Instant) -> bool:
        farm_id = self.farm["farm_id"]
        async with self.database.write() as connection:
            person = await people.person(connection, farm_id, person_id)
            way = self.sender.way_to(person)
            state, detail = (digests.SENT, way) if way else (digests.GAVE_UP, "no way to this person is set up")
            row = {"kind": TRIAL, "person_id": person_id, "local_date": date, "at_ms": now_ms, "attempts": 1}
            row |= {"state": state, "next_ms": now_ms, "detail": detail}
            if not await digests.claim_digest(connection, farm_id, row):
                return False
            if way is not None:
                key = f"trial/weekly/{person_id}/{date}"
                await self.sender.send(connection, person, "weekly", key=key, way=way, now_ms=now_ms)
        log.info("weekly test", to=person_id, way=way)
        return way is not None


def is_due(figures: Figures, zone: str, now_ms: Instant) -> bool:
    """Whether the weekly test may go out at a moment: on its day, for two hours."""
    today = local_date(now_ms, zone)
    from_ms = at_local(today, int(figures.trial_minute), zone)
    return today.weekday() == int(figures.trial_weekday) and from_ms <= now_ms < from_ms + CATCH_UP_MS
