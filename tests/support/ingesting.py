"""The receiving half of the line on the invented farm: real broker, connection and loop, and a hand clock."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import partial

from service.ingest.loop import Recording
from service.ingest.mqtt import Broker as Address
from service.ingest.mqtt import Connection, Listener
from service.storage.database import Database
from service.watch.horizon import Horizon
from service.wire.topics import marker_topic, subscriptions
from tests.support.broker import Broker
from tests.support.clock import HandClock
from tests.support.farmyard import NOW_MS
from tests.support.waiting import until
from tests.support.written import written

PREFIX, FARM = "houseband", "tansy"


@dataclass(slots=True, kw_only=True)
class Ingesting:
    """One run of ingest. ``client_id`` names its session at the broker."""

    recording: Recording
    connection: Connection
    horizon: Horizon
    clock: HandClock
    rooms: list[set[str]] = field(default_factory=list)

    async def caught_up(self) -> None:
        await until(lambda: self.horizon.is_listening, within_s=15, what="our own marker")


@asynccontextmanager
async def ingesting(
    database: Database, broker: Broker, *, client_id: str = "ingest-test", port: int | None = None
) -> AsyncGenerator[Ingesting]:
    """Run until the block ends; the session stays at the broker."""
    clock, horizon, rooms = HandClock(NOW_MS), Horizon(), list[set[str]]()
    horizon.start_deaf(0)
    connection = Connection(
        Address(host=broker.host, port=port or broker.port, client_id=client_id),
        subscriptions=subscriptions(PREFIX, FARM),
        marker_topic=marker_topic(PREFIX, FARM, client_id),
        clock=clock,
        listener=Listener(
            connected=lambda: horizon.connected(clock.now_ms()), lost=partial(_lost, horizon, clock)
        ),
    )
    recording = Recording(
        connection=connection,
        database=database,
        farm_id=1,
        prefix=PREFIX,
        farm=FARM,
        sources=(),
        horizon=horizon,
        recorded=rooms.append,
    )
    connection.start()
    work = asyncio.create_task(recording.run())
    try:
        yield Ingesting(recording=recording, connection=connection, horizon=horizon, clock=clock, rooms=rooms)
    finally:
        work.cancel()
        await asyncio.gather(work, return_exceptions=True)
        connection.stop()


def _lost(horizon: Horizon, clock: HandClock) -> None:
    horizon.lost(clock.now_ms())


async def stored(database: Database) -> list[float]:
    """All stored values by series and time."""
    return [row["value"] for row in await written(database, "readings")]


async def until_stored(database: Database, count: int, *, within_s: float = 15) -> None:
    async def enough() -> bool:
        return len(await stored(database)) >= count

    await until(enough, within_s=within_s, what=f"{count} readings on the disk")
