"""When we were listening, and how often each probe is usually heard.

Both are kept in memory only: after a start everything begins afresh at the moment we hear the broker out, and
what is usual is read from the newest readings.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from rules.model import DAY_MS, MINUTE_MS, Instant
from rules.silence import Span, usual_interval_ms
from service.storage import silences
from service.storage.database import Connection

KEEP_MS: Final = 3 * DAY_MS
LOOK_AGAIN_MS: Final = 10 * MINUTE_MS
"""So often is it worked out anew how often a probe reports; sooner while that is not known."""
LOOK_AGAIN_UNKNOWN_MS: Final = MINUTE_MS
NEWEST: Final = 32
NEWEST_OF_MANY: Final = 512
"""So many of the newest readings of a series say how often its probe reports."""
GIVEN_UP: Final = 10
"""What a probe has not sent for so many of its intervals, while it sent other things, it sends no longer."""


@dataclass(slots=True)
class Ears:
    """The spans in which we were listening, as far as this process saw them."""

    spans: list[Span] = field(default_factory=list)
    seen_ms: Instant | None = None
    """The last look."""

    def look(self, now_ms: Instant, *, hears: bool, longest_ms: int) -> Span | None:
        """Note whether we are listening at this moment.

        Args:
            now_ms: the moment.
            hears: whether nothing stands between the probes and us.
            longest_ms: after so long without a look we stood still, and did not listen.

        Returns:
            The stretch in which we stood still, if we did.
        """
        before_ms, self.seen_ms = self.seen_ms, now_ms
        gap = None if before_ms is None or now_ms - before_ms <= longest_ms else (before_ms, now_ms)
        if hears:
            goes_on = bool(self.spans) and self.spans[-1][1] == before_ms and gap is None
            begun_ms = self.spans.pop()[0] if goes_on else now_ms
            self.spans.append((begun_ms, max(begun_ms, now_ms)))
        self.spans = [span for span in self.spans if span[1] > now_ms - KEEP_MS]
        return gap


@dataclass(slots=True)
class Habits:
    """How often each probe reports: medians of the newest intervals of its quickest series.

    Worked out from a few newest readings, once in :data:`LOOK_AGAIN_MS` for each probe, so that a pass costs no
    look at readings at all.
    """

    _usual: dict[str, tuple[Instant, int | None]] = field(default_factory=dict)

    async def refresh(
        self, connection: Connection, farm_id: int, measured: dict[str, dict[str, int]], now_ms: Instant
    ) -> None:
        """Work it out where that is due.

        Args:
            connection: to read by.
            farm_id: the farm.
            measured: the series of the probes in question.
            now_ms: now.
        """
        for probe, numbers in measured.items():
            made_ms, usual_ms = self._usual.get(probe, (None, None))
            again_ms = LOOK_AGAIN_UNKNOWN_MS if usual_ms is None else LOOK_AGAIN_MS
            if made_ms is None or not 0 <= now_ms - made_ms < again_ms:
                self._usual[probe] = (now_ms, await usual_of(connection, farm_id, numbers))

    def usual_ms(self, probe: str) -> int | None:
        """A probe's usual interval; ``None`` while it is not known."""
        return self._usual.get(probe, (0, None))[1]


async def usual_of(connection: Connection, farm_id: int, numbers: dict[str, int]) -> int | None:
    """How often a probe with these series is usually heard; by the quickest of those that it still sends."""
    every = [await _habit_of_series(connection, farm_id, number) for number in numbers.values()]
    known = [habit for habit in every if habit is not None]
    newest_ms = max((heard_ms for heard_ms, _ in known), default=0)
    still_sent = (usual_ms for heard_ms, usual_ms in known if newest_ms - heard_ms <= GIVEN_UP * usual_ms)
    return min(still_sent, default=None)


async def _habit_of_series(connection: Connection, farm_id: int, number: int) -> tuple[Instant, int] | None:
    """When a series was last received, and its usual interval.

    By a few of its newest readings; by more where those came in one message, or out of one queue.
    """
    for limit in (NEWEST, NEWEST_OF_MANY):
        times = await silences.newest_times(connection, farm_id, number, limit=limit)
        usual_ms = usual_interval_ms(times)
        if usual_ms is not None:
            return max(received_ms for _, received_ms in times), usual_ms
        if len(times) < limit:
            return None
    return None


async def usual_intervals(connection: Connection, farm_id: int, probes: Iterable[str]) -> dict[str, int]:
    """How often each of these probes is usually heard, as far as that is known."""
    measured = await silences.measured_series(connection, farm_id)
    every = {probe: await usual_of(connection, farm_id, measured.get(probe, {})) for probe in probes}
    return {probe: usual_ms for probe, usual_ms in every.items() if usual_ms is not None}
