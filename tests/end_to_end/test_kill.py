"""kill -9 of the service under load loses no acknowledged reading, no alarm and no text, and adds none.

Real parts throughout: mosquitto with our shipped configuration, SQLite and PostgreSQL, the service as a process, a
proxy between service and broker, a phone over HTTP. The undisturbed run is a twin on the same broker.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, Callable
from contextlib import AsyncExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest
from sqlalchemy import text

from service.clock import ScaledClock, wall_now_ms
from service.storage.database import Database
from service.storage.schema import migrate
from tests.support import kill_rig, pulse_farm
from tests.support.broker import Broker
from tests.support.databases import BOTH, sqlite_url
from tests.support.deadly_phone import DeadlyPhone, deadly_phone
from tests.support.kill_rig import KillRig
from tests.support.mqtt_proxy import mqtt_proxy
from tests.support.postgres import PostgresServer
from tests.support.pulse_farm import Readings
from tests.support.service_process import ServiceProcess
from tests.support.waiting import until

pytestmark = [pytest.mark.slow, pytest.mark.alone]

FACTOR = 5.0
EVERYWHERE = (
    kill_rig.BEFORE_COMMIT,
    kill_rig.BEFORE_ACKNOWLEDGING,
    kill_rig.BEFORE_ANSWER,
    kill_rig.AFTER_ANSWER,
)
WINDOWS = {"sqlite": EVERYWHERE, "postgresql": (*EVERYWHERE, kill_rig.BEFORE_JUDGING)}
EACH = 3

LEDGER = "SELECT room_id, quantity, side, happens, at_ms FROM transitions"
NOTICES = "SELECT notice_key, telling FROM notices WHERE kind NOT IN ('silence', 'heard')"
WOKEN = "SELECT happening_id FROM notices WHERE telling = 'wake' AND kind = 'trouble'"
OVER = "SELECT happening_id FROM notices WHERE kind = 'back'"
TOLD = """
    SELECT n.happening_id FROM deliveries d
    JOIN notices n ON n.farm_id = d.farm_id AND n.notice_key = d.notice_key WHERE n.kind = 'trouble'
"""
STORED = """
    SELECT s.probe_id, s.quantity, r.at_ms, r.value FROM readings r
    JOIN series s ON s.farm_id = r.farm_id AND s.series_id = r.series_id
"""


@dataclass
class Side:
    """One service with its own database and phone."""

    process: ServiceProcess
    database: Database
    url: str
    phone: DeadlyPhone

    async def rows(self, statement: str) -> list[tuple[object, ...]]:
        async with self.database.read() as connection:
            return sorted(tuple(row) for row in await connection.execute(text(statement)))

    async def is_quiet_since(self, at_ms: int) -> bool:
        """Judged past ``at_ms``, nothing open, nothing waiting to be told."""
        async with self.database.read() as connection:
            judged = await connection.scalar(text("SELECT min(judged_ms) FROM judgements"))
            waiting = await connection.scalar(
                text(
                    "SELECT (SELECT count(*) FROM deliveries WHERE state = 'waiting')"
                    " + (SELECT count(*) FROM notices WHERE addressed = 0)"
                    " + (SELECT count(*) FROM happenings WHERE ended_ms IS NULL)"
                )
            )
        return int(judged or 0) > at_ms and waiting == 0


class Field:
    """The broker, the farm's readings, and services on them."""

    def __init__(self, broker: Broker, folder: Path, server: PostgresServer | None, stack: AsyncExitStack) -> None:
        now_ms = wall_now_ms()
        self.clock = ScaledClock(anchor_wall_ms=now_ms, anchor_farm_ms=now_ms, factor=FACTOR)
        self.broker, self.folder, self.server, self.stack = broker, folder, server, stack

    async def side(self, name: str, broker_port: int) -> Side:
        folder = self.folder / name
        folder.mkdir()
        url = sqlite_url(folder) if self.server is None else self.server.create_database(name)
        database = Database(url)
        self.stack.push_async_callback(database.close)
        await migrate(database)
        await pulse_farm.set_up(database, self.clock.now_ms() - 1000)
        phone = await self.stack.enter_async_context(deadly_phone())
        settings = {
            "farm": pulse_farm.SLUG,
            "database_url": url,
            "broker_host": "127.0.0.1",
            "broker_port": str(broker_port),
            "sweep_every_s": "1.0",
            "clock_factor": str(FACTOR),
            "clock_anchor_wall_ms": str(self.clock.anchor_wall_ms),
            "clock_anchor_farm_ms": str(self.clock.anchor_farm_ms),
            "text_gateway__url": f"http://127.0.0.1:{phone.port}/send",
            "text_gateway__fields": '{"to": "{to}", "text": "{text}"}',
        }
        process = ServiceProcess(folder, settings)
        self.stack.callback(process.stop)
        await process.start()
        return Side(process=process, database=database, url=url, phone=phone)


@pytest.fixture(params=BOTH)
async def playing_field(request: pytest.FixtureRequest, broker: Broker, tmp_path: Path) -> AsyncGenerator[Field]:
    server = None if request.param == "sqlite" else request.getfixturevalue("durable_postgres_server")
    async with AsyncExitStack() as stack:
        yield Field(broker, tmp_path, server, stack)


async def test_kill_minus_9_loses_nothing_and_tells_nothing_twice(
    playing_field: Field, record_property: Callable[[str, object], None]
) -> None:
    proxy = await playing_field.stack.enter_async_context(mqtt_proxy(playing_field.broker.port))
    twin = await playing_field.side("twin", playing_field.broker.port)
    victim = await playing_field.side("victim", proxy.port)
    readings = Readings(port=playing_field.broker.port, clock=playing_field.clock)
    readings.start()
    rig = KillRig(victim.process, victim.url, proxy, victim.phone, victim.database, playing_field.clock)
    windows = WINDOWS["sqlite" if victim.database.is_sqlite else "postgresql"]
    for _ in range(EACH):
        for window in windows:
            await rig.kill_in(window)

    readings.calm.set()
    calm_ms = playing_field.clock.now_ms()
    for side in (twin, victim):
        await until(
            partial(side.is_quiet_since, calm_ms + 60_000),
            within_s=90,
            what="quiet after the last kill",
            every_s=0.3,
        )
    readings.stop()
    await until(lambda: readings.all_acknowledged, within_s=20, what="the broker's last acknowledgements")
    for side in (twin, victim):
        await until(partial(_has_all, side, readings), within_s=30, what="the last readings", every_s=0.3)
    readings.close()

    # Every acknowledged reading is there once, with its value.
    assert await victim.rows(STORED) == readings.acknowledged
    # The told ledger equals the undisturbed run.
    told = await twin.rows(LEDGER)
    assert await victim.rows(LEDGER) == told
    assert await victim.rows(NOTICES) == await twin.rows(NOTICES)
    await _no_text_is_lost_or_doubled(victim)
    report = dict(rig.report)
    record_property("killed", f"{sum(report.values())} times: {report}; {len(told)} moves told")
    assert all(report[window] >= EACH for window in windows)
    assert len(told) >= 8


async def _has_all(side: Side, readings: Readings) -> bool:
    return len(await side.rows(STORED)) >= len(readings.acknowledged)


async def _no_text_is_lost_or_doubled(victim: Side) -> None:
    tellings = await victim.rows("SELECT delivery_id, notice_key, step, person_id, way, state FROM deliveries")
    # Everyone was told of every trouble, unless it was over before anybody could be.
    told = {str(happening) for (happening,) in await victim.rows(TOLD)}
    over = {str(happening) for (happening,) in await victim.rows(OVER)}
    assert {str(happening) for (happening,) in await victim.rows(WOKEN)} <= told | over
    # Exactly one telling to a person and way.
    assert len({t[1:5] for t in tellings}) == len(tellings)
    assert {t[5] for t in tellings} <= {"sent", "cancelled", "unsure"}
    # What was sent arrived; what arrived twice came under the same key.
    sent = {str(t[0]) for t in tellings if t[5] == "sent"}
    arrived = [key for key, _, _ in victim.phone.received]
    assert sent <= set(arrived) <= {str(t[0]) for t in tellings}
    assert len(arrived) > len(set(arrived)), "the kills around the phone should have made repeats"
