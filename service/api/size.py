"""A bound on how much anybody can make us hold in memory with one request."""

from __future__ import annotations

from typing import Final

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.problems import problem

MOST_BYTES: Final = 1_048_576
TOO_LARGE: Final = f"A request may have at most {MOST_BYTES} bytes; send it in parts."


class BodyLimit:
    """Refuses a body that is too large: by what it declares, or once that much of it has come."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        if _declared(scope) > MOST_BYTES:
            await problem(413, TOO_LARGE)(scope, receive, send)
            return
        came = 0

        async def counted() -> Message:
            nonlocal came
            message = await receive()
            came += len(message.get("body", b""))
            if came > MOST_BYTES:
                raise HTTPException(413, TOO_LARGE)
            return message

        await self.app(scope, counted, send)


def _declared(scope: Scope) -> int:
    lengths = [value for name, value in scope["headers"] if name == b"content-length"]
    return int(lengths[0]) if lengths and lengths[0].isdigit() else 0
