"""The API over a farm's desk, called in this process, without a socket."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

import httpx
from fastapi import FastAPI

from rules.model import HOUR_MS, MINUTE_MS
from service.api.routes import add_api
from service.storage.database import Database
from service.watch.desk import Desk
from tests.support import farmyard
from tests.support.clock import HandClock

PROBLEM = "application/problem+json"


@dataclass(slots=True, kw_only=True)
class Api:
    """A client of the API, with the desk and the clock behind it."""

    client: httpx.AsyncClient
    desk: Desk
    clock: HandClock
    concerned: list[set[str]] = field(default_factory=list)
    """What the desk was told of new readings."""

    async def get(self, path: str, **query: object) -> Any:
        """Look, and have it work."""
        answer = await self.client.get(path, params=_plain(query))
        assert answer.status_code == 200, answer.text
        return answer.json()

    async def send(self, method: str, path: str, body: object, *, expect: int) -> Any:
        """Send JSON, and have it end with this status."""
        answer = await self.client.request(method, path, json=body)
        assert answer.status_code == expect, answer.text
        if expect >= 400:
            return problem_in(answer)
        return answer.json()

    async def post(self, path: str, body: object, *, expect: int = 201) -> Any:
        return await self.send("POST", path, body, expect=expect)

    async def put(self, path: str, body: object, *, expect: int = 200) -> Any:
        return await self.send("PUT", path, body, expect=expect)

    async def refused(self, path: str, *, expect: int, **query: object) -> Any:
        """Look, and be told why not."""
        answer = await self.client.get(path, params=_plain(query))
        assert answer.status_code == expect, answer.text
        return problem_in(answer)


def problem_in(answer: httpx.Response) -> Any:
    """The problem in an answer, in the form RFC 9457 gives it."""
    assert answer.headers["content-type"] == PROBLEM
    said = answer.json()
    assert said["status"] == answer.status_code
    assert said["type"] == "about:blank"
    assert said["title"]
    assert said["detail"]
    return said


@asynccontextmanager
async def open_api(database: Database, farm: dict[str, Any], clock: HandClock, **parts: Any) -> AsyncIterator[Api]:
    """The API over a desk; ``parts`` replace those of a desk with nothing behind it."""
    concerned: list[set[str]] = []
    bare = farmyard.desk(database, farm, clock)
    made = {name: getattr(bare, name) for name in Desk.__dataclass_fields__}
    desk = Desk(**{**made, "recorded": concerned.append, **parts})
    app = FastAPI(openapi_url=None)
    add_api(app)
    app.state.desk = desk
    transport = httpx.ASGITransport(app, raise_app_exceptions=False)
    async with httpx.AsyncClient(transport=transport, base_url="http://farm.test") as client:
        yield Api(client=client, desk=desk, clock=clock, concerned=concerned)


def _plain(query: dict[str, object]) -> Any:
    return {name.rstrip("_"): value for name, value in query.items()}


async def go_dry(api: Api, minutes: int) -> None:
    """Live the night until so many minutes after House 7 began to dry out, and stop there."""
    database, farm, at_ms = api.desk.database, api.desk.farm, farmyard.DRY_FROM_MS + minutes * MINUTE_MS
    await farmyard.send_night(database, farm["farm_id"], to_ms=at_ms)
    calm = {"from_ms": farmyard.NIGHT_FROM_MS, "to_ms": farmyard.DRY_FROM_MS, "step_ms": 6 * HOUR_MS}
    await farmyard.judge_as_it_went(database, farm, **calm)
    dry = {"from_ms": farmyard.DRY_FROM_MS, "to_ms": at_ms, "step_ms": 5 * MINUTE_MS}
    await farmyard.judge_as_it_went(database, farm, **dry)
    api.clock.set(at_ms)
