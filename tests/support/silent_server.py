"""A server that takes the connection and what is said on it, and never answers until it is let go."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from tests.support.ports import LOOPBACK


@dataclass(slots=True, kw_only=True)
class SilentServer:
    """Where it is, and how many hang on it."""

    url: str = ""
    hanging: int = 0
    let_go: asyncio.Event = field(default_factory=asyncio.Event)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        self.hanging += 1
        await self.let_go.wait()
        writer.close()


@asynccontextmanager
async def silent_server() -> AsyncGenerator[SilentServer]:
    silent = SilentServer()
    server = await asyncio.start_server(silent._serve, LOOPBACK, 0)
    silent.url = f"http://{LOOPBACK}:{server.sockets[0].getsockname()[1]}/"
    try:
        yield silent
    finally:
        silent.let_go.set()
        server.close()
