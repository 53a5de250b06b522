"""A week of a real room goes in over MQTT as fast as the broker takes it, and comes back as it was measured.

Real parts throughout: mosquitto with our shipped configuration, the service as a process, SQLite and PostgreSQL.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import httpx
import pytest

from rules.model import Instant
from service.api.moments import read_moment, show_moment
from tests.support import real_room
from tests.support.broker import Broker
from tests.support.databases import BOTH, sqlite_url
from tests.support.mqtt import publish_all
from tests.support.packs import pack
from tests.support.postgres import PostgresServer
from tests.support.service_process import ServiceProcess
from tests.support.waiting import until

pytestmark = [pytest.mark.slow, real_room.with_the_week]

WHO: Final = {"who": "Ines"}
SPAN: Final = {"from": "2015-01-01T00:00:00Z"}


@dataclass(frozen=True)
class Service:
    """The running service, asked as its users would ask it."""

    client: httpx.AsyncClient
    broker: Broker

    async def get(self, path: str, **query: str | int) -> Any:
        answer = await self.client.get(f"/api{path}", params=query)
        assert answer.status_code == 200, answer.text
        return answer.json()

    async def send(self, method: str, path: str, **body: Any) -> None:
        answer = await self.client.request(method, f"/api{path}", json=body | WHO)
        assert answer.is_success, answer.text

    async def state(self) -> Any:
        """How it is: with 503 where not all is well, as just after the start, when no room was gone round yet."""
        return (await self.client.get("/api/state")).json()

    async def is_listening(self) -> bool:
        return bool((await self.state())["broker"]["listening"])

    async def has_heard(self, at_ms: Instant) -> bool:
        probes = await self.get("/probes")
        return any(value["at"] == show_moment(at_ms) for value in probes[0]["newest"])

    async def last_sweep(self) -> str | None:
        said: str | None = (await self.state())["sweep"]["last"]
        return said

    async def whole_sweep(self) -> None:
        """Return when every room was gone round by a sweep that began after this call."""
        for _ in range(2):
            before = await self.last_sweep()
            await until(partial(self._has_swept_since, before), within_s=60, what="the next sweep")

    async def _has_swept_since(self, before: str | None) -> bool:
        return await self.last_sweep() != before


@pytest.fixture(params=BOTH)
async def service(request: pytest.FixtureRequest, broker: Broker, tmp_path: Path) -> AsyncGenerator[Service]:
    url = sqlite_url(tmp_path)
    if request.param == "postgresql":
        server: PostgresServer = request.getfixturevalue("durable_postgres_server")
        url = server.create_database("real_room")
    async with _running(tmp_path, url, broker) as running:
        yield running


@asynccontextmanager
async def _running(folder: Path, url: str, broker: Broker) -> AsyncGenerator[Service]:
    settings = {"farm": "office", "database_url": url, "broker_host": broker.host, "broker_port": str(broker.port)}
    process = ServiceProcess(folder, {**settings, "sweep_every_s": "0.5"})
    try:
        await process.start()
        async with httpx.AsyncClient(base_url=process.url, timeout=30) as client:
            yield Service(client=client, broker=broker)
    finally:
        process.stop()


async def test_a_real_room_comes_back_identical_and_wakes_nobody(service: Service) -> None:
    week = real_room.measured()
    await _set_up(service, week[0][0])
    await until(service.is_listening, within_s=20, what="the service hearing the broker")

    packs = [("houseband/office/desk", pack(at_ms, values)) for at_ms, values in week]
    await asyncio.to_thread(publish_all, service.broker.port, packs)
    await until(lambda: service.has_heard(week[-1][0]), within_s=60, what="the last pack on the disk")

    sent = sorted((at_ms, q.value, value) for at_ms, values in week for q, value in values.items())
    assert len(sent) == 3 * real_room.ROWS
    assert await _read_back(service, probe="desk") == sent
    assert await _read_back(service, room="office") == sent
    assert (await service.get("/rejected", **SPAN))["rows"] == []
    await _nobody_is_woken(service)


async def _set_up(service: Service, at_ms: Instant) -> None:
    """A room that may wake people at any hour: mushrooms pin in it at 27 %RH, all through the week of 2015."""
    since = show_moment(at_ms)
    await service.send("POST", "/rooms", room_id="office", name="Office", kind="fruiting")
    await service.send("POST", "/rooms/office/first-days", end=since)
    await service.send("POST", "/probes/desk/placements", room_id="office", place="on the desk", **{"from": since})
    await service.send("POST", "/rooms/office/assign", profile="shiitake", stage="pinning", **{"from": since})
    await service.send("POST", "/profiles/shiitake/confirmations", stage=None)
    told = {"phone": "+12025550123", "email": None, "units": "metric", "language": "en", "active": True}
    await service.send("PUT", "/people/ines", name="Ines", **told)
    for daypart in ("day", "night"):
        await service.send("PUT", f"/call-lists/{daypart}", lines=[{"person_id": "ines", "after_minutes": 0}])


async def _read_back(service: Service, **asked: str) -> list[tuple[Instant, str, float]]:
    """Every reading there is, page after page, in the order in which the pages give them."""
    rows: list[tuple[Instant, str, float]] = []
    after: dict[str, str] = {}
    while True:
        page = await service.get("/readings", limit=5000, **asked, **SPAN, **after)
        rows += [(read_moment(row["at"]), row["quantity"], row["value"]) for row in page["rows"]]
        if page["next"] is None:
            return rows
        after = {"after": page["next"]}


async def _nobody_is_woken(service: Service) -> None:
    """All of it is history when it comes: the room was judged with it, and that is no reason to ring."""
    await service.whole_sweep()
    room = await service.get("/rooms/office")
    assert any(limit["wakes"] for limit in room["limits"])
    notices = await service.get("/notices", limit=1000, **SPAN)
    assert [notice for notice in notices["rows"] if notice["telling"] == "wake"] == []
    assert (await service.get("/deliveries", limit=1000, **SPAN))["rows"] == []
