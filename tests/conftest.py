"""Shared fixtures: real servers, and the strictness that a build machine asks for."""

from __future__ import annotations

import os
from collections.abc import AsyncGenerator, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from service.storage.database import Database
from tests.support.broker import Broker, find_mosquitto
from tests.support.databases import BOTH, postgres_database, sqlite_database
from tests.support.postgres import PostgresServer, find_binaries

# The same examples every run, and no time limit on each: a busy machine is not a wrong program.
settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A running mosquitto with our shipped settings, for one test (starting takes some 20 ms)."""
    if not find_mosquitto():
        pytest.skip("mosquitto is not installed (Debian: apt-get install mosquitto)")
    folder = tmp_path / "broker"
    folder.mkdir()
    running = Broker(folder)
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """A running PostgreSQL for the whole session, fast rather than crash-proof."""
    yield from _postgres(durable=False)


@pytest.fixture(scope="session")
def durable_postgres_server() -> Iterator[PostgresServer]:
    """The same with every commit on disk, for tests that kill things."""
    yield from _postgres(durable=True)


def _postgres(*, durable: bool) -> Iterator[PostgresServer]:
    if not find_binaries():
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    server = PostgresServer(durable=durable)
    try:
        server.start()
        yield server
    finally:
        server.remove()


@pytest.fixture(params=BOTH)
async def database(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncGenerator[Database]:
    """An empty, migrated database; a test that asks for it runs once on each of the two."""
    if request.param == "sqlite":
        async with sqlite_database(tmp_path) as made:
            yield made
        return
    async with postgres_database(request.getfixturevalue("postgres_server")) as made:
        yield made


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Under ``make test STRICT=1`` a skipped test is a failed run: nothing passes unseen."""
    if _skipped(session.config) and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say what tests counted, and why a run without a failing test ends as failed (pytest's -ra has the list)."""
    for report in terminalreporter.stats.get("passed", []):
        for name, value in report.user_properties:
            terminalreporter.line(f"{report.nodeid}: {name} {value}")
    if count := _skipped(config):
        terminalreporter.section("strict", red=True, bold=True)
        terminalreporter.line(f"{count} skipped, and STRICT=1 allows none (each stands in the summary as SKIPPED)")


def _skipped(config: pytest.Config) -> int:
    """How many skips count against this run: none unless it is strict."""
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("TESTS_STRICT") != "1" or not isinstance(reporter, pytest.TerminalReporter):
        return 0
    return len(reporter.stats.get("skipped", []))
