"""A TCP proxy in front of a broker that reads just enough MQTT to count messages and to withhold acknowledgements.

Packet types by their number in the fixed header (MQTT 5.0 sec. 2.1.2): 3 is PUBLISH, 4 is PUBACK.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field

PUBLISH, PUBACK = 3, 4


@dataclass
class Proxy:
    """What passes between one client and the broker."""

    broker_port: int
    port: int = 0
    withholding: bool = False
    """While true, acknowledgements from the client do not reach the broker."""
    withheld: int = 0
    delivered: int = 0
    acknowledged: int = 0
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)

    @property
    def unacknowledged(self) -> int:
        """Messages that were handed to the client on this connection and not acknowledged by it."""
        return self.delivered - self.acknowledged

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.withheld = self.delivered = self.acknowledged = 0
        try:
            up_reader, up_writer = await asyncio.open_connection("127.0.0.1", self.broker_port)
        except OSError:
            writer.close()
            return
        both = (
            asyncio.create_task(self._pass(reader, up_writer, from_client=True)),
            asyncio.create_task(self._pass(up_reader, writer, from_client=False)),
        )
        self._tasks |= set(both)
        await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        for task in both:
            task.cancel()
        for side in (writer, up_writer):
            side.close()
        await asyncio.gather(*both, return_exceptions=True)
        self._tasks -= set(both)

    async def _pass(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, *, from_client: bool
    ) -> None:
        with suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                packet = await _packet(reader)
                kind = packet[0] >> 4
                if from_client and kind == PUBACK:
                    self.acknowledged += 1
                    if self.withholding:
                        self.withheld += 1
                        continue
                if not from_client and kind == PUBLISH:
                    self.delivered += 1
                writer.write(packet)
                await writer.drain()


async def _packet(reader: asyncio.StreamReader) -> bytes:
    """One whole packet: fixed header, remaining length in 7-bit groups, the rest."""
    head = await reader.readexactly(1)
    length, shift = 0, 0
    while True:
        group = await reader.readexactly(1)
        head += group
        length |= (group[0] & 0x7F) << shift
        shift += 7
        if not group[0] & 0x80:
            return head + await reader.readexactly(length)


@asynccontextmanager
async def mqtt_proxy(broker_port: int) -> AsyncGenerator[Proxy]:
    """A running proxy; ``port`` is where the client connects."""
    proxy = Proxy(broker_port=broker_port)
    server = await asyncio.start_server(proxy._serve, "127.0.0.1", 0)
    proxy.port = server.sockets[0].getsockname()[1]
    try:
        yield proxy
    finally:
        server.close()
        for task in proxy._tasks:
            task.cancel()
