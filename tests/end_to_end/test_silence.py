"""Each layer of silence killed in turn in a real run: how many minutes until it is noticed, and in which words.

Real parts: mosquitto, the service as a process, probes that publish over MQTT, a phone over HTTP, a far end of the
outside watch. Only the clock runs faster. Limits are this project's own (``rules/silence.py``, ``Figures``).
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, Callable
from contextlib import AsyncExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import httpx
import pytest
from sqlalchemy import text

from rules.model import MINUTE_MS, Instant
from service.clock import ScaledClock, wall_now_ms
from service.storage.database import Database
from service.storage.schema import migrate
from tests.support import quiet_farm
from tests.support.broker import Broker
from tests.support.databases import sqlite_url
from tests.support.deadly_phone import DeadlyPhone, deadly_phone
from tests.support.far_end import PATH, FarEnd, far_end
from tests.support.quiet_farm import HANGS, Probes
from tests.support.service_process import ServiceProcess
from tests.support.waiting import until

pytestmark = [pytest.mark.slow, pytest.mark.alone]

FACTOR: Final = 30.0
LIMITS: Final = {"probe": 2, "room": 10, "gateway": 5, "site": 3, "broker": 3, "houseband": 10}
"""Minutes; of a probe that reports every 20 s, the least that any probe is given."""


@dataclass
class Run:
    """One farm, running."""

    clock: ScaledClock
    database: Database
    broker: Broker
    probes: Probes
    phone: DeadlyPhone
    far_end: FarEnd
    houseband: ServiceProcess
    table: list[str] = field(default_factory=list)

    async def rows(self, statement: str) -> list[tuple[object, ...]]:
        async with self.database.read() as connection:
            return [tuple(row) for row in await connection.execute(text(statement))]

    async def mark(self, scope: str, name: str, column: str) -> Instant | None:
        """When the newest silence of this was noticed, told, or ended."""
        own = f"scope = '{scope}' AND name = '{name}'"
        newest = f"SELECT {column} FROM silences WHERE {own} ORDER BY since_ms DESC LIMIT 1"
        found = await self.rows(newest)
        return None if not found or found[0][0] is None else int(str(found[0][0]))

    async def noticed(self, scope: str, name: str, killed_ms: Instant, *, column: str = "told_ms") -> None:
        """Wait until it is, at its limit, and write down the minutes."""

        async def is_there() -> bool:
            at_ms = await self.mark(scope, name, column)
            return at_ms is not None and at_ms > killed_ms

        await until(is_there, within_s=60, what=f"{scope} {name} {column}", every_s=0.2)
        minutes = ((await self.mark(scope, name, column) or 0) - killed_ms) / MINUTE_MS
        assert minutes == pytest.approx(LIMITS[scope], abs=1), f"{scope} {name} noticed after {minutes:.1f} min"
        words = (
            "(round sheet)" if column == "noticed_ms" else await self.words(f"silence/{scope}/{name}@", "silence")
        )
        self.table.append(f"| {scope} {name} | {LIMITS[scope]} | {minutes:.1f} | {words} |")

    async def heard(self, scope: str, name: str) -> None:
        """Wait until it is over, and those who were woken heard so."""

        async def is_over() -> bool:
            return await self.mark(scope, name, "ended_ms") is not None

        await until(is_over, within_s=60, what=f"{scope} {name} heard again", every_s=0.2)
        words = await self.words(f"silence/{scope}/{name}@", "heard")
        self.table.append(f"| {scope} {name}, again | | | {words} |")

    async def words(self, happening: str, kind: str) -> str:
        """The newest text of this that reached the phone, once it has."""
        statement = (
            "SELECT d.delivery_id, n.facts FROM deliveries d JOIN notices n ON n.notice_key = d.notice_key"
            f" WHERE n.kind = '{kind}' AND n.happening_id LIKE '{happening}%' ORDER BY n.at_ms DESC"
        )
        found: list[str] = []

        async def has_arrived() -> bool:
            keys = [str(row[0]) for row in await self.rows(statement)]
            found[:] = [words for key, _, words in self.phone.received if key in keys[:1]]
            return bool(found)

        await until(has_arrived, within_s=30, what=f"a text of {happening} {kind}", every_s=0.2)
        return found[0]

    async def texts(self) -> int:
        (row,) = await self.rows("SELECT count(*) FROM notices WHERE telling = 'wake'")
        return int(str(row[0]))

    async def called_off_the_farm(self) -> None:
        """Wait for the next call of the outside watch."""
        calls = len(self.far_end.called_ms)
        await until(lambda: len(self.far_end.called_ms) > calls, within_s=60, what="a call off the farm")

    async def minutes(self, count: float) -> None:
        """Let farm time pass, as what is to be shown is that nothing happens."""
        end_ms = self.clock.now_ms() + round(count * MINUTE_MS)
        await until(lambda: self.clock.now_ms() >= end_ms, within_s=120, what="the farm's time", every_s=0.1)


def _settings(tmp_path: Path, broker: Broker, clock: ScaledClock) -> dict[str, str]:
    sources = tmp_path / "sources.toml"
    sources.write_text(quiet_farm.SOURCES)
    return {
        "farm": quiet_farm.SLUG,
        "database_url": sqlite_url(tmp_path),
        "sources_file": str(sources),
        "broker_host": "127.0.0.1",
        "broker_port": str(broker.port),
        "sweep_every_s": "0.3",
        "clock_factor": str(FACTOR),
        "clock_anchor_wall_ms": str(clock.anchor_wall_ms),
        "clock_anchor_farm_ms": str(clock.anchor_farm_ms),
        "text_gateway__fields": '{"to": "{to}", "text": "{text}"}',
    }


@pytest.fixture
async def run(broker: Broker, tmp_path: Path) -> AsyncGenerator[Run]:
    now_ms = wall_now_ms()
    clock = ScaledClock(anchor_wall_ms=now_ms, anchor_farm_ms=now_ms, factor=FACTOR)
    database = Database(sqlite_url(tmp_path))
    async with AsyncExitStack() as stack:
        stack.push_async_callback(database.close)
        await migrate(database)
        await quiet_farm.set_up(database, clock.now_ms() - 1000)
        phone = await stack.enter_async_context(deadly_phone())
        end = await stack.enter_async_context(far_end(clock))
        settings = _settings(tmp_path, broker, clock)
        settings |= {"text_gateway__url": f"http://127.0.0.1:{phone.port}/send", "outside_watch_url": end.url}
        houseband = ServiceProcess(tmp_path, settings)
        stack.callback(houseband.stop)
        await houseband.start()
        probes = Probes(port=broker.port, clock=clock)
        probes.start()
        stack.callback(probes.stop)
        yield Run(
            clock=clock,
            database=database,
            broker=broker,
            probes=probes,
            phone=phone,
            far_end=end,
            houseband=houseband,
        )


async def test_each_layer_of_silence_is_noticed_at_its_limit_and_in_its_own_words(
    run: Run, record_property: Callable[[str, object], None]
) -> None:
    await run.minutes(3)
    assert await run.rows("SELECT scope, name FROM silences") == []
    await _kill_probes_and_a_gateway(run)
    await _kill_all_that_publishes(run)
    await _kill_the_broker(run)
    await _kill_houseband(run)
    told = "\n".join(["", "| killed | limit, min | noticed after, min | words |", "|---|---|---|---|", *run.table])
    record_property("silence", told)
    print(told)  # noqa: T201 - the table is what this test is for
    assert sum("Invented data." in line for line in run.table) == 8


async def _kill_probes_and_a_gateway(run: Run) -> None:
    """A twin, and the only probe of a house; meanwhile a gateway."""
    killed_ms = run.clock.now_ms()
    run.probes.silent |= {"h3-b", "h4"}
    await run.minutes(1)
    gateway_killed_ms = run.clock.now_ms()
    run.probes.silent |= {"h1", "h2"}
    await run.noticed("probe", "h3-b", killed_ms, column="noticed_ms")
    await run.noticed("probe", "h4", killed_ms, column="noticed_ms")
    await run.noticed("gateway", "north", gateway_killed_ms)
    await run.noticed("room", "house-4", killed_ms)
    assert await run.mark("probe", "h3-b", "told_ms") is None
    assert await run.rows("SELECT name FROM silences WHERE scope = 'probe' ORDER BY name") == [("h3-b",), ("h4",)]
    run.probes.silent.clear()
    await run.heard("room", "house-4")
    await run.heard("gateway", "north")


async def _kill_all_that_publishes(run: Run) -> None:
    killed_ms = run.clock.now_ms()
    run.probes.silent |= set(HANGS)
    await run.noticed("site", "site", killed_ms)
    run.probes.silent.clear()
    await run.heard("site", "site")


async def _kill_the_broker(run: Run) -> None:
    killed_ms = run.clock.now_ms()
    run.broker.kill()
    await run.noticed("broker", "broker", killed_ms)
    async with httpx.AsyncClient(verify=False) as client:
        state = (await client.get(f"{run.houseband.url}/api/state")).json()
    assert [s["scope"] for s in state["silences"]] == ["broker"]
    assert state["broker"]["listening"] is False
    run.broker.start()
    await run.heard("broker", "broker")
    assert await run.rows("SELECT scope FROM silences WHERE ended_ms IS NULL") == []


async def _kill_houseband(run: Run) -> None:
    """Right after a call, so that the far end has all its patience before it."""
    await run.called_off_the_farm()
    assert run.far_end.asked[0] == f"GET {PATH} HTTP/1.1"
    texts, killed_ms = await run.texts(), run.clock.now_ms()
    run.houseband.kill()
    await until(lambda: run.far_end.misses_us, within_s=60, what="the far end's noticing")
    minutes = (run.clock.now_ms() - killed_ms) / MINUTE_MS
    assert minutes == pytest.approx(LIMITS["houseband"], abs=1)
    run.table.append(f"| houseband | {LIMITS['houseband']} | {minutes:.1f} | (the far end's own) |")
    await run.houseband.start()
    await run.called_off_the_farm()
    await run.minutes(5)
    assert await run.texts() == texts, "nobody is woken for silence that was ours"
    ((since_ms, ended_ms),) = await run.rows("SELECT since_ms, ended_ms FROM silences WHERE scope = 'houseband'")
    assert abs(int(str(since_ms)) - killed_ms) <= 6 * MINUTE_MS
    assert int(str(ended_ms)) > killed_ms + 9 * MINUTE_MS
    assert PATH not in (run.houseband.folder / "service.log").read_text()
