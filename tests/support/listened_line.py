"""A farm on a hand clock whose probes report every minute, and the watch that listens to them."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from sqlalchemy import text

from rules.model import MINUTE_MS, Instant, ProbeId, Quantity, Reading
from service.messages import Decoded, Incoming, Reason, Rejected, Understood
from service.storage import machine
from service.storage.database import Database
from service.watch.catalogue import Catalogue
from service.watch.horizon import Horizon
from service.watch.record import record
from service.watch.silence_watch import SilenceWatch
from tests.support import farmyard
from tests.support.clock import HandClock

EVERY_MS: Final = MINUTE_MS
STEP_MS: Final = MINUTE_MS // 4
CLOSELY_MINUTES: Final = 6
VALUES: Final = {Quantity.TEMPERATURE: 15.0, Quantity.HUMIDITY: 92.0, Quantity.CO2: 800.0}
PROBES: Final = tuple(probe for probe, _, _ in farmyard.PROBES)


@dataclass
class Line:
    """A farm whose probes report every minute, except those that are silent, and a watch over them."""

    database: Database
    farm: dict[str, Any]
    clock: HandClock
    horizon: Horizon = field(default_factory=Horizon)
    silent: set[str] = field(default_factory=set)
    only_rejected: set[str] = field(default_factory=set)
    values: dict[Quantity, float] = field(default_factory=lambda: dict(VALUES))
    watch: SilenceWatch = field(init=False)

    def __post_init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        self.watch = SilenceWatch(
            database=self.database,
            farm=self.farm,
            clock=self.clock,
            horizon=self.horizon,
            catalogue=Catalogue(self.farm["farm_id"]),
        )

    async def live(self, minutes: float, *, watching: bool = True) -> None:
        """Let time pass: probes that are not silent report every minute, the watch looks every 15 s or minute."""
        until_ms = self.clock.at_ms + round(minutes * MINUTE_MS)
        while self.clock.at_ms < until_ms:
            before_ms = self.clock.at_ms
            step_ms = STEP_MS if minutes <= CLOSELY_MINUTES else MINUTE_MS
            self.clock.forward(min(step_ms, until_ms - before_ms))
            if self.clock.at_ms // EVERY_MS > before_ms // EVERY_MS:
                await self.report(p for p in PROBES if p not in self.silent)
            if watching:
                await self.watch.look()
                async with self.database.write() as connection:
                    await machine.beat(connection, 1, "service", self.clock.at_ms, "")

    async def report(self, probes: Iterable[str]) -> None:
        await record(self.database, 1, [self._said(probe, self.clock.at_ms) for probe in probes])

    def _said(self, probe: str, at_ms: Instant) -> tuple[Incoming, Decoded]:
        incoming = Incoming(topic=f"houseband/tansy/{probe}", payload=b"", received_ms=at_ms)
        if probe in self.only_rejected:
            why = Rejected(reason=Reason.CLOCK_WRONG, detail="1970", probe=ProbeId(probe))
            return incoming, Decoded(rejected=(why,), heard=frozenset({ProbeId(probe)}))
        understood = tuple(
            Understood(reading=Reading(probe=ProbeId(probe), quantity=q, at_ms=at_ms, value=v), timed=True)
            for q, v in self.values.items()
        )
        return incoming, Decoded(understood=understood, heard=frozenset({ProbeId(probe)}))

    async def rows(self, statement: str) -> list[tuple[Any, ...]]:
        async with self.database.read() as connection:
            return [tuple(row) for row in await connection.execute(text(statement))]

    async def silences(self) -> list[tuple[str, str, bool, bool]]:
        """Scope, name, told, ended."""
        found = await self.rows("SELECT scope, name, told_ms, ended_ms FROM silences ORDER BY noticed_ms, name")
        return [(scope, name, told is not None, ended is not None) for scope, name, told, ended in found]

    async def woken(self) -> list[tuple[str, dict[str, Any]]]:
        """Kind and facts of every notice that wakes people."""
        statement = "SELECT kind, facts FROM notices WHERE telling = 'wake' ORDER BY at_ms, notice_key"
        return [(kind, json.loads(facts)) for kind, facts in await self.rows(statement)]
