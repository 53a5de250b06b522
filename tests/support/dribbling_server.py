"""A server that says its status at once, and then a letter now and then, for ever."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager

from service.clock import pause
from tests.support.ports import LOOPBACK


@asynccontextmanager
async def dribbling_server(status: str) -> AsyncGenerator[str]:
    """Where it is."""

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await reader.readuntil(b"\r\n\r\n")
            writer.write(f"HTTP/1.1 {status}\r\ncontent-length: 1000000\r\n\r\n".encode())
            while True:
                writer.write(b".")
                await writer.drain()
                await pause(0.05)
        except (asyncio.IncompleteReadError, ConnectionError):
            pass  # the caller is gone
        finally:
            writer.close()

    server = await asyncio.start_server(serve, LOOPBACK, 0)
    try:
        yield f"http://{LOOPBACK}:{server.sockets[0].getsockname()[1]}/"
    finally:
        server.close()
