"""Going round all rooms: whatever is recorded and not judged is judged, timers included."""

from __future__ import annotations

from dataclasses import dataclass

from rules.model import Instant
from service.clock import Clock
from service.errors import PassingError
from service.log import log
from service.watch.horizon import Horizon
from service.watch.judge import SETTLE_MS, Judge


@dataclass(slots=True, kw_only=True)
class Sweep:
    """One pass over the farm; also called for the rooms of a freshly recorded batch."""

    judge: Judge
    horizon: Horizon
    clock: Clock
    last_ms: Instant | None = None
    """When the last complete pass ended; at first, when the service started."""

    async def all_rooms(self) -> int:
        """Judge every room that has something to judge; return how many notices that made."""
        due = await self.judge.rooms_due(self._until_ms())
        made = await self.rooms(due)
        self.last_ms = self.clock.now_ms()
        return made

    async def rooms(self, room_ids: list[str]) -> int:
        """Judge these rooms, one transaction each. A room that cannot be judged now does not stop the others."""
        made = 0
        for room_id in room_ids:
            try:
                judged = await self.judge.judge(room_id, until_ms=self._until_ms(), now_ms=self.clock.now_ms())
                made += judged.notices
            except PassingError as error:
                log.warning("room not judged just now", room=room_id, cause=str(error))
            except Exception:  # noqa: BLE001 - one room's trouble must not silence the others
                log.exception("room could not be judged", room=room_id)
        return made

    def _until_ms(self) -> Instant:
        now_ms = self.clock.now_ms()
        return min(now_ms - SETTLE_MS, self.horizon.limit_ms(now_ms))
