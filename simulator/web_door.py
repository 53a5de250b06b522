"""Runs one small web application in a thread beside whatever the process does, on this machine only."""

from __future__ import annotations

import socket
import threading
from types import TracebackType
from typing import Final, Self

import uvicorn
from fastapi import FastAPI

_LEAVING_S: Final = 5.0


class WebDoor:
    """An application listening on 127.0.0.1; port 0 takes any free one. Use as a context manager."""

    def __init__(self, app: FastAPI, port: int = 0) -> None:
        self._socket = socket.create_server(("127.0.0.1", port))
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        config = uvicorn.Config(app, log_level="warning", lifespan="off", ws="none")
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._serve, daemon=True, name="web-door")

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.should_exit = True
        self._thread.join(_LEAVING_S)
        self._socket.close()

    def _serve(self) -> None:
        self._server.run(sockets=[self._socket])
