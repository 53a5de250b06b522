"""A text gateway that can bring down the sender: before it answers, or after its 200."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field


@dataclass
class DeadlyPhone:
    """Receives texts over HTTP. A deadly act, when set, happens once and is then forgotten."""

    port: int = 0
    received: list[tuple[str, str, str]] = field(default_factory=list)
    """(key, to, text) of every request, repeats included."""
    before_answer: Callable[[], Awaitable[None]] | None = None
    around_answer: tuple[Callable[[], Awaitable[None]], Callable[[], Awaitable[None]]] | None = None
    """Done before the 200 goes out, and after the sender has read it."""

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await self._answer(reader, writer)
        except (asyncio.IncompleteReadError, ConnectionError):
            pass  # the sender is gone: that is what we are here for
        finally:
            writer.close()

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
        headers = {k.lower(): v.strip() for k, _, v in (line.partition(":") for line in head.split("\r\n")[1:])}
        body = json.loads(await reader.readexactly(int(headers["content-length"])))
        self.received.append((headers["idempotency-key"], body["to"], body["text"]))
        if self.before_answer is not None:
            act, self.before_answer = self.before_answer, None
            await act()
            return
        acts, self.around_answer = self.around_answer, None
        if acts is not None:
            await acts[0]()
        writer.write(b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\nconnection: close\r\n\r\n")
        await writer.drain()
        if acts is not None:
            await reader.read()  # the sender closes its side once it has read the answer
            await acts[1]()


@asynccontextmanager
async def deadly_phone() -> AsyncGenerator[DeadlyPhone]:
    """A running phone; texts go to ``http://127.0.0.1:{port}/``."""
    phone = DeadlyPhone()
    server = await asyncio.start_server(phone._serve, "127.0.0.1", 0)
    phone.port = server.sockets[0].getsockname()[1]
    try:
        yield phone
    finally:
        server.close()
