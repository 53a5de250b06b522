"""The clock of a scenario's farm: from what its clock shows to moments."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from rules.model import HOUR_MS, SECOND_MS, Instant
from service.localtime import at_local, local, local_date


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmClock:
    """Clock times of one night."""

    zone: str
    begins_ms: Instant = 0

    def moment(self, shown: str) -> Instant:
        """When the clock shows this: on the day given, or next after the night began.

        Raises:
            ValueError: it never does on that day, or not a second time.
        """
        words = shown.removesuffix(" again").split()
        today = local_date(self.begins_ms, self.zone)
        days = [date.fromisoformat(words[0])] if len(words) == 2 else [today, today + timedelta(days=1)]
        found = [self._on(day, words[-1], again=shown.endswith("again")) for day in days]
        shows = [at_ms for at_ms in found if at_ms is not None and (len(words) == 2 or at_ms >= self.begins_ms)]
        if not shows:
            raise ValueError(
                f"the clock of {self.zone} does not show {shown!r} on {days[0]} or in the night after"
            )
        return shows[0]

    def _on(self, day: date, clock: str, *, again: bool) -> Instant | None:
        hour, minute, second = (int(part) for part in [*clock.split(":"), "0"][:3])
        found = at_local(day, hour * 60 + minute, self.zone) + second * SECOND_MS + again * HOUR_MS
        seen = local(found, self.zone)
        return found if (seen.hour, seen.minute) == (hour, minute) else None

    def shows(self, at_ms: Instant) -> str:
        """What the clock shows at a moment, for messages."""
        return f"{local(at_ms, self.zone):%H:%M:%S %Z}"
