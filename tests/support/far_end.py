"""The far end of the outside watch: a real web server that notices when nobody has called for ten minutes."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Final

from rules.model import MINUTE_MS, Instant
from service.clock import Clock

PATIENCE_MS: Final = 10 * MINUTE_MS
PATH: Final = "/alive/word-that-nobody-logs"


@dataclass
class FarEnd:
    """Writes down when it was called, on the farm's clock."""

    clock: Clock
    port: int = 0
    answer: str = "204 No Content"
    called_ms: list[Instant] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    """The first line of each request."""

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}{PATH}"

    @property
    def misses_us(self) -> bool:
        """True once nobody has called for too long: somebody would be sent a text now."""
        return bool(self.called_ms) and self.clock.now_ms() - self.called_ms[-1] >= PATIENCE_MS

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
            self.asked.append(head.split("\r\n", 1)[0])
            self.called_ms.append(self.clock.now_ms())
            writer.write(f"HTTP/1.1 {self.answer}\r\ncontent-length: 0\r\nconnection: close\r\n\r\n".encode())
            await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            pass  # the caller is gone
        finally:
            writer.close()


@asynccontextmanager
async def far_end(clock: Clock) -> AsyncGenerator[FarEnd]:
    """A running far end."""
    end = FarEnd(clock=clock)
    server = await asyncio.start_server(end._serve, "127.0.0.1", 0)
    end.port = server.sockets[0].getsockname()[1]
    try:
        yield end
    finally:
        server.close()
