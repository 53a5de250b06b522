"""The pages on a real socket, for a browser."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import uvicorn
from fastapi import FastAPI

from service.watch.desk import Desk
from service.web.pages import add_pages
from tests.support.waiting import until


def application(desk: Desk) -> FastAPI:
    """The pages of a desk and nothing else."""
    app = FastAPI(openapi_url=None)
    app.state.desk = desk
    add_pages(app)
    return app


@asynccontextmanager
async def serving(desk: Desk, app: FastAPI | None = None) -> AsyncIterator[str]:
    """Serve the pages, or another application, on a free port of this machine.

    Gives the address of the first page, without a slash at its end.
    """
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app or application(desk), log_level="warning", lifespan="off"))
        running = asyncio.create_task(server.serve(sockets=[door]))
        try:
            await until(lambda: server.started, within_s=10, what="the page server")
            yield f"http://127.0.0.1:{door.getsockname()[1]}"
        finally:
            server.should_exit = True
            await running
