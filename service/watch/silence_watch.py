"""Calm told from blind: a look every few seconds at what is not heard, in one transaction.

The whole site, a gateway and our own line to the broker are told at their limits. One silent probe goes to the
round sheet; people are woken only when a room has lost the last probe of something with a text limit. A gap of our
own is written down as ours.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from rules.model import FIRST_INSTANT, MINUTE_MS, Instant
from rules.silence import HeardProbe, Limits, Look, Scope
from service.clock import Clock
from service.storage import machine, rooms, silences
from service.storage.database import Database
from service.storage.figures import Figures, figures_of
from service.storage.rows import Record
from service.storage.silences import SilenceRow
from service.watch.catalogue import Catalogue
from service.watch.hearing import Ears, Habits
from service.watch.horizon import Horizon
from service.watch.silence_pass import Pass, Remembered
from service.watch.silence_story import Story

PULSE: Final = "service"
OWN_GAP_MS: Final = 2 * MINUTE_MS
"""A shorter absence of ours is a restart, and no news."""
STALL_MS: Final = MINUTE_MS
"""By the wall: after so long without a look the machine slept, or we hung."""


@dataclass(slots=True, kw_only=True)
class SilenceWatch:
    """Watches over being heard, for one farm."""

    database: Database
    farm: Record
    clock: Clock
    horizon: Horizon
    catalogue: Catalogue
    ears: Ears = field(default_factory=Ears)
    habits: Habits = field(default_factory=Habits)
    remembered: Remembered = field(default_factory=Remembered)
    _started_ms: Instant | None = None
    _gap_from_ms: Instant | None = None

    async def begin(self) -> None:
        """Before anything else says that we are alive: see for how long we were not."""
        self._started_ms = self.clock.now_ms()
        async with self.database.read() as connection:
            pulses = await machine.all_pulses(connection, self.farm["farm_id"])
        last_ms = max((row["at_ms"] for row in pulses if row["part"] == PULSE), default=None)
        if last_ms is not None and self._started_ms - last_ms > OWN_GAP_MS:
            self._gap_from_ms = last_ms

    async def look(self) -> None:
        """Look once.

        Raises:
            PassingError: the database cannot be used just now; the next look sees the same.
        """
        now_ms = self.clock.now_ms()
        self._started_ms = now_ms if self._started_ms is None else self._started_ms
        hears = self.horizon.limit_ms(now_ms) >= now_ms
        gap = self.ears.look(now_ms, hears=hears, longest_ms=round(STALL_MS * self.clock.factor))
        if gap is not None and self._gap_from_ms is None:
            self._gap_from_ms = gap[0]
        farm_id = self.farm["farm_id"]
        async with self.database.read() as connection:
            measured = await silences.measured_series(connection, farm_id)
            placed = [p for p in await rooms.all_probes(connection, farm_id) if p["room_id"] is not None]
            hung = {p["probe_id"]: measured.get(p["probe_id"], {}) for p in placed}
            await self.habits.refresh(connection, farm_id, hung, now_ms)
        async with self.database.write() as connection:
            story = Story(connection=connection, farm=self.farm, now_ms=now_ms)
            figures = await figures_of(connection, farm_id)
            one = Pass(
                story=story,
                look=Look(spans=tuple(self.ears.spans), limits=_limits(figures), now_ms=now_ms),
                blind_ms=figures.ms("blind_minutes"),
                catalogue=self.catalogue,
                remembered=self.remembered,
                rooms={room["room_id"]: room for room in await rooms.all_rooms(connection, farm_id)},
                probes=await self._probes(story),
                measured=measured,
                open={(row.scope, row.name): row for row in await silences.open_silences(connection, farm_id)},
            )
            await self._own_gap(story, hears=hears)
            await one.go(deaf_since_ms=None if hears else self._deaf_since_ms())
        if hears:
            self._gap_from_ms = None

    async def _probes(self, story: Story) -> dict[str, tuple[HeardProbe, Record]]:
        """Every placed probe that was ever heard."""
        rows = await rooms.all_probes(story.connection, self.farm["farm_id"])
        return {
            row["probe_id"]: (
                HeardProbe(
                    probe=row["probe_id"],
                    gateway=row["gateway"],
                    heard_ms=row["last_heard_ms"],
                    from_ms=max(row["valid_from_ms"], self.remembered.afresh_ms.get(row["probe_id"], 0)),
                    usual_ms=self.habits.usual_ms(row["probe_id"]),
                ),
                row,
            )
            for row in rows
            if row["room_id"] is not None and row["last_heard_ms"]
        }

    async def _own_gap(self, story: Story, *, hears: bool) -> None:
        """Once we hear again: the gap was ours, and is written down as ours."""
        if self._gap_from_ms is None or not hears:
            return
        row = SilenceRow(
            scope=Scope.HOUSEBAND,
            name="houseband",
            since_ms=self._gap_from_ms,
            noticed_ms=story.now_ms,
            ended_ms=story.now_ms,
        )
        await story.note(row, rooms=[])

    def _deaf_since_ms(self) -> Instant:
        """Since when we do not hear the broker; at the earliest since we started."""
        since_ms = self.horizon.not_listening_since_ms or FIRST_INSTANT
        started_ms = self._started_ms or FIRST_INSTANT
        return max(since_ms, started_ms)


def _limits(figures: Figures) -> Limits:
    return Limits(
        probe_intervals=figures.probe_intervals,
        gateway_ms=figures.ms("gateway_minutes"),
        site_ms=figures.ms("site_minutes"),
    )
