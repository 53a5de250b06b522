"""Recording what waits: in order of arrival, in batches, acknowledged only when it is on the disk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from service.clock import pause
from service.errors import PassingError
from service.ingest.mqtt import Connection, Received
from service.log import log
from service.messages import Decoded, Reason, Rejected
from service.storage.database import Database
from service.watch.horizon import Horizon
from service.watch.record import Batch, record
from service.wire.decode import decode
from service.wire.sources import Source
from service.wire.topics import is_marker

MOST_IN_A_BATCH = 500
FIRST_BACK_OFF_S = 0.2
LONGEST_BACK_OFF_S = 10.0


@dataclass(slots=True, kw_only=True)
class Recording:
    """The loop from the connection to the record."""

    connection: Connection
    database: Database
    farm_id: int
    prefix: str
    farm: str
    sources: Sequence[Source]
    horizon: Horizon
    recorded: Callable[[set[str]], None]
    """Told the rooms that a batch concerned."""

    async def run(self) -> None:
        """Record until cancelled."""
        woken = self.connection.listener.woken
        while True:
            await woken.wait()
            woken.clear()
            while batch := self.connection.take(MOST_IN_A_BATCH):
                await self.handle(batch)

    async def handle(self, batch: Sequence[Received]) -> None:
        """Record one batch, however often it takes, then acknowledge it."""
        markers = [m for m in batch if is_marker(m.incoming.topic, prefix=self.prefix, farm=self.farm)]
        decoded = [(m.incoming, self._decode(m)) for m in batch if m not in markers]
        if decoded:
            self.recorded(await self._record(decoded))
        self.connection.acknowledge(batch)
        if any(self.connection.is_our_marker(m) for m in markers):
            self.horizon.caught_up()

    async def _record(self, decoded: Batch) -> set[str]:
        """Record, however often it takes; return the rooms it concerned."""
        wait_s = FIRST_BACK_OFF_S
        while True:
            try:
                return (await record(self.database, self.farm_id, decoded)).rooms
            except PassingError as error:
                log.warning("readings wait for the database", messages=len(decoded), cause=str(error))
            except Exception:  # noqa: BLE001 - ending here would lose nothing and hear nothing, and nobody would know
                log.exception("readings could not be recorded", messages=len(decoded))
            await pause(wait_s)
            wait_s = min(wait_s * 2, LONGEST_BACK_OFF_S)

    def _decode(self, message: Received) -> Decoded:
        try:
            decoded = decode(message.incoming, prefix=self.prefix, farm=self.farm, sources=self.sources)
        except Exception as error:  # noqa: BLE001 - a fault of ours must not stop the messages behind it
            log.exception("message could not be decoded", topic=message.incoming.topic)
            why = Rejected(reason=Reason.NOT_STORED, detail=f"our own fault: {type(error).__name__}")
            return Decoded(rejected=(why,))
        if message.incoming.qos > 0:
            return decoded
        odd = "sent without delivery assurance (QoS 0), may be lost"
        return replace(decoded, oddities=(*decoded.oddities, odd))
