"""The real servers that tests start: they must themselves be reliable."""

from __future__ import annotations

import subprocess
from collections.abc import AsyncIterator

import asyncpg
import pytest

from tests.support.broker import Broker
from tests.support.ports import accepts
from tests.support.postgres import PostgresServer
from tests.support.waiting import until, until_sync


def test_a_broker_comes_back_on_its_port_after_stop_restart_and_kill(broker: Broker) -> None:
    first = broker.pid
    broker.restart()
    second = broker.pid
    broker.kill()
    assert not accepts(broker.port)
    broker.start()

    assert accepts(broker.port)
    assert len({first, second, broker.pid}) == 3


@pytest.fixture
async def connection(durable_postgres_server: PostgresServer) -> AsyncIterator[asyncpg.Connection]:
    url = durable_postgres_server.create_database("support_check")
    connection = await asyncpg.connect(url.replace("+asyncpg", ""))
    yield connection
    await connection.close()
    durable_postgres_server.drop_database("support_check")


async def test_a_durable_server_is_durable(connection: asyncpg.Connection) -> None:
    """The three settings of PostgreSQL's manual, chapter "Reliability and the Write-Ahead Log"."""
    for setting in ("fsync", "synchronous_commit", "full_page_writes"):
        assert await connection.fetchval(f"SHOW {setting}") == "on"


async def test_committed_rows_survive_a_kill_of_the_server(durable_postgres_server: PostgresServer) -> None:
    url = durable_postgres_server.create_database("kill_check").replace("+asyncpg", "")
    before = await asyncpg.connect(url)
    await before.execute("CREATE TABLE kept (n integer); INSERT INTO kept VALUES (1)")

    durable_postgres_server.kill()
    before.terminate()
    durable_postgres_server.start()

    after = await asyncpg.connect(url)
    assert await after.fetchval("SELECT n FROM kept") == 1
    await after.close()
    durable_postgres_server.drop_database("kill_check")


def test_the_server_never_runs_as_root(postgres_server: PostgresServer) -> None:
    shown = subprocess.run(
        ["ps", "-o", "uid=", "-p", str(postgres_server.pid)], check=True, capture_output=True, text=True
    )

    assert int(shown.stdout) != 0


def test_a_database_name_cannot_smuggle_sql(postgres_server: PostgresServer) -> None:
    with pytest.raises(ValueError, match="plain database name"):
        postgres_server.create_database('x"; DROP DATABASE postgres; --')


async def test_waiting_ends_with_the_condition_or_says_what_did_not_happen() -> None:
    looks = iter([False, False, True])
    await until(lambda: next(looks), within_s=5)

    with pytest.raises(TimeoutError, match=r"the kettle did not come true within 0\.02 s"):
        until_sync(lambda: False, within_s=0.02, what="the kettle")
