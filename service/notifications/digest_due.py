"""When what is sent regularly is due, by the farm's clock: a plain function of the farm and the moment.

Each kind is due once for a day of the farm's calendar, whatever the clocks do on it: an hour that comes twice is
still of one day, and a minute that is left out comes later on that day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from rules.model import DAY_MS, HOUR_MS, Instant
from service.localtime import at_local, local_date
from service.storage.rows import Record

MORNING, MORNING_TEXT, FRIDAY = "morning", "morning text", "friday"
NOON: Final = 12 * 60
SHORTEST_CATCH_UP_MS: Final = 6 * HOUR_MS
"""A farm whose morning round is at noon or later gets this long instead."""
FRIDAY_CATCH_UP_MS: Final = 2 * DAY_MS
"""A week is still worth reading on Sunday; on Monday it is history, and stays on its page."""
_FRIDAY: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """One round of sending."""

    kind: str
    date: str
    """The farm's calendar day that it belongs to."""
    from_ms: Instant
    until_ms: Instant
    """After that it helps nobody and is not sent any more."""

    def is_on(self, now_ms: Instant) -> bool:
        """Whether it may be sent at a moment."""
        return self.from_ms <= now_ms < self.until_ms


def morning_due(farm: Record, now_ms: Instant, *, kind: str = MORNING) -> Due:
    """Today's morning: from the morning round until noon."""
    today = local_date(now_ms, farm["zone"])
    from_ms = at_local(today, farm["morning_round_minute"], farm["zone"])
    noon_ms = at_local(today, NOON, farm["zone"])
    until_ms = noon_ms if noon_ms > from_ms else from_ms + SHORTEST_CATCH_UP_MS
    return Due(kind=kind, date=today.isoformat(), from_ms=from_ms, until_ms=until_ms)


def friday_due(farm: Record, now_ms: Instant, *, minute: int) -> Due:
    """The newest Friday, today's included: from a minute of that day, for two days."""
    today = local_date(now_ms, farm["zone"])
    friday = today - timedelta(days=(today.weekday() - _FRIDAY) % 7)
    from_ms = at_local(friday, minute, farm["zone"])
    return Due(kind=FRIDAY, date=friday.isoformat(), from_ms=from_ms, until_ms=from_ms + FRIDAY_CATCH_UP_MS)
