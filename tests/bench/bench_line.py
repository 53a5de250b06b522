"""Messages a second from a publisher that never rests, through mosquitto, to the disk.

Beside it, on the same broker, a subscriber that only counts: what is left is ours. And the same once more on a
broker that keeps nothing on disk: what the settings that we ship cost. The service has at most 500 messages
unconfirmed (its receive maximum), so all but the last of them are confirmed when the last one is on the disk.
"""

from __future__ import annotations

import asyncio
import subprocess
import sys
from collections.abc import AsyncGenerator, Iterator
from contextlib import AsyncExitStack, asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Final

import httpx
import pytest

from rules.model import SECOND_MS, Instant, Quantity
from service.clock import wall_now_ms
from service.storage.database import Database
from tests.support.broker import Broker, find_mosquitto
from tests.support.databases import sqlite_url
from tests.support.figures import Stopwatch, Timed, show
from tests.support.mqtt import publish_all
from tests.support.packs import pack
from tests.support.ports import free_port
from tests.support.postgres import PostgresServer
from tests.support.service_process import ROOT, ServiceProcess
from tests.support.waiting import until
from tests.support.written import tally

MESSAGES: Final = 4000
"""For each of the four: bounded, so that the whole takes seconds."""
FARM: Final = "line"
TOPIC: Final = f"houseband/{FARM}/probe-1"


@pytest.fixture
def forgetful_broker(tmp_path: Path) -> Iterator[Broker]:
    """The same broker with nothing kept on disk."""
    if not find_mosquitto():
        pytest.skip("mosquitto is not installed (Debian: apt-get install mosquitto)")
    folder = tmp_path / "forgetful"
    folder.mkdir()
    config, port = folder / "mosquitto.conf", free_port()
    config.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
        "max_queued_messages 100000\nmax_inflight_messages 200\n"
    )
    running = Broker(folder, port=port, config=config)
    running.start()
    yield running
    running.stop()


async def test_line(
    broker: Broker, forgetful_broker: Broker, durable_postgres_server: PostgresServer, tmp_path: Path
) -> None:
    figures = [
        await _counted("only counted, broker keeps nothing", forgetful_broker.port),
        await _counted("only counted", broker.port),
        await _kept("kept, SQLite", broker, tmp_path, sqlite_url(tmp_path)),
    ]
    url = durable_postgres_server.create_database("bench_line")
    figures.append(await _kept("kept, PostgreSQL", broker, tmp_path, url))
    show(f"The line, {MESSAGES} messages of 3 readings", figures, against=figures[1], each="messages")


def _publish(port: int, from_ms: Instant) -> None:
    values = {Quantity.TEMPERATURE: 15.0, Quantity.HUMIDITY: 95.0, Quantity.CO2: 800.0}
    publish_all(port, ((TOPIC, pack(from_ms + n * SECOND_MS, values)) for n in range(MESSAGES)))


async def _counted(name: str, port: int) -> Timed:
    command = [sys.executable, "-m", "tests.support.counting_subscriber", str(port), TOPIC, str(MESSAGES)]
    counting = await asyncio.create_subprocess_exec(*command, cwd=ROOT, stdout=subprocess.PIPE)
    assert counting.stdout is not None
    assert await counting.stdout.readline() == b"ready\n"
    watch = Stopwatch()
    await asyncio.to_thread(_publish, port, _a_day_ago_ms())
    assert await counting.wait() == 0
    return Timed(name=name, count=MESSAGES, seconds=watch.seconds)


async def _kept(name: str, broker: Broker, folder: Path, url: str) -> Timed:
    async with _service(folder, url, broker) as database:
        watch = Stopwatch()
        await asyncio.to_thread(_publish, broker.port, _a_day_ago_ms())
        await until(partial(_are_kept, database), within_s=120, what="every message on the disk")
        taken_s = watch.seconds
        assert await tally(database, "readings") == 3 * MESSAGES
    return Timed(name=name, count=MESSAGES, seconds=taken_s)


async def _are_kept(database: Database) -> bool:
    return await tally(database, "messages") >= MESSAGES


@asynccontextmanager
async def _service(folder: Path, url: str, broker: Broker) -> AsyncGenerator[Database]:
    """The service, listening, and its database to look into."""
    settings = {"farm": FARM, "database_url": url, "broker_host": broker.host, "broker_port": str(broker.port)}
    process = ServiceProcess(folder, settings)
    async with AsyncExitStack() as stack:
        stack.callback(process.stop)
        await process.start()
        client = await stack.enter_async_context(httpx.AsyncClient(base_url=process.url))
        await until(partial(_listens, client), within_s=30, what="the service hearing the broker")
        database = Database(url)
        stack.push_async_callback(database.close)
        yield database


async def _listens(client: httpx.AsyncClient) -> bool:
    return bool((await client.get("/api/state")).json()["broker"]["listening"])


def _a_day_ago_ms() -> Instant:
    return wall_now_ms() - 24 * 3600 * SECOND_MS
