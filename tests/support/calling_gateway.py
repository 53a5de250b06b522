"""The other half of a text gateway: it calls us with what people sent, over real HTTP, and signs what it says."""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any, Final

import httpx
from pydantic import SecretStr

from service.app.running import make_web
from service.app.texts_in import hosts, text_hook
from service.settings import Settings, TextInboundSettings
from service.watch.desk import Desk
from tests.support.page_server import serving

SECRET: Final = "a quiet word between two machines"
PUBLIC: Final = "farm.example"
HOOK: Final[Mapping[str, Any]] = {
    "secret": SecretStr(SECRET),
    "time_header": "X-Time",
    "time": "/at",
    "time_form": "milliseconds",
    "receipts": {"arrived": "delivered", "lost": "failed", "sent": "on its way"},
}


@dataclass(slots=True, kw_only=True)
class CallingGateway:
    """A gateway that knows the farm's address and the secret."""

    client: httpx.AsyncClient
    desk: Desk
    secret: str = SECRET
    headers: dict[str, str] = field(default_factory=dict)

    async def bring(self, *messages: Mapping[str, Any]) -> httpx.Response:
        """Texts that people sent."""
        return await self.call("texts", json.dumps(messages).encode())

    async def report(self, ref: str, status: str) -> httpx.Response:
        """What became of a text."""
        return await self.call("receipts", json.dumps({"id": ref, "status": status}).encode())

    async def call(
        self, address: str, body: bytes, *, age_ms: int = 0, headers: Mapping[str, str] | None = None
    ) -> httpx.Response:
        """Say something, properly signed unless ``headers`` say otherwise."""
        said = {**self.signed(body, age_ms), **(headers or {})}
        return await self.client.post(f"/api/inbound/{address}", content=body, headers=said)

    def signed(self, body: bytes, age_ms: int = 0) -> dict[str, str]:
        time = str((self.desk.clock.now_ms() - age_ms) // 1000)
        mac = hmac.new(self.secret.encode(), time.encode() + b"." + body, hashlib.sha256)
        return {"X-Time": time, "X-Signature": mac.hexdigest(), **self.headers}


@asynccontextmanager
async def calling(desk: Desk, **hook: Any) -> AsyncIterator[CallingGateway]:
    """The whole application on a socket, called by its public name, and a gateway that calls it."""
    given = TextInboundSettings(**{**HOOK, **hook})
    settings = Settings(text_inbound=given, public_url=f"https://{PUBLIC}")
    app = make_web(hosts(settings))
    app.state.desk = desk
    app.state.text_hook = text_hook(given)
    async with (
        serving(desk, app) as address,
        httpx.AsyncClient(base_url=address, headers={"host": PUBLIC}) as client,
    ):
        yield CallingGateway(client=client, desk=desk)
