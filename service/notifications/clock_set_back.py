"""The machine's clock was set back: it had been wrong, and what waits must not wait for that wrong time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.clock import Clock
from service.log import log
from service.storage import machine
from service.storage.database import Database
from service.storage.rows import Record
from service.storage.turned_back import turn_back

MORE_THAN_MS: Final = 5 * SECOND_MS
"""By less a clock is put right all the time, and nobody waits longer for it."""
IN_HAND_MS: Final = 2 * MINUTE_MS


@dataclass(slots=True, kw_only=True)
class ClockSetBack:
    """Notices it on one farm, after a stop as well: the last sign of life then lies ahead."""

    database: Database
    farm: Record
    clock: Clock
    _last_ms: Instant | None = None

    async def look(self) -> bool:
        """Look at the clock; whether it was set back since the last look."""
        now_ms, farm_id = self.clock.now_ms(), self.farm["farm_id"]
        last_ms = await self._last_sign() if self._last_ms is None else self._last_ms
        self._last_ms = now_ms
        if last_ms - now_ms <= MORE_THAN_MS:
            return False
        log.warning("the clock was set back", by_s=(last_ms - now_ms) // SECOND_MS)
        until_ms = now_ms + round(IN_HAND_MS * self.clock.factor)
        async with self.database.write() as connection:
            await turn_back(connection, farm_id, now_ms=now_ms, claimed_until_ms=until_ms)
        return True

    async def _last_sign(self) -> Instant:
        async with self.database.read() as connection:
            pulses = await machine.all_pulses(connection, self.farm["farm_id"])
        return max((int(row["at_ms"]) for row in pulses), default=0)
