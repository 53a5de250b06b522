"""`houseband check-setup` tries the real broker and database out and says what would lose data."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from service.app.check_setup import check
from service.app.finding import Finding
from service.settings import Settings
from tests.support.broker import SHIPPED, Broker, find_mosquitto
from tests.support.databases import sqlite_url
from tests.support.ports import free_port
from tests.support.postgres import PostgresServer


def settings(tmp_path: Path, **given: Any) -> Settings:
    return Settings(database_url=sqlite_url(tmp_path), **given)


def about(findings: list[Finding], subject: str) -> list[Finding]:
    return [f for f in findings if f.subject.endswith(subject)]


async def test_our_own_broker_settings_keep_what_waits_for_us(broker: Broker, tmp_path: Path) -> None:
    found = await check(settings(tmp_path, broker_host=broker.host, broker_port=broker.port))
    (finding,) = about(found, "broker")
    assert not finding.would_lose
    assert "kept 1500 of 1500" in finding.says


async def test_a_broker_with_its_own_defaults_is_found_to_drop_readings(tmp_path: Path) -> None:
    if not find_mosquitto():
        pytest.skip("mosquitto is not installed (Debian: apt-get install mosquitto)")
    port = free_port()
    config = tmp_path / "plain.conf"
    config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    plain = Broker(tmp_path, port=port, config=config)
    plain.start()
    try:
        found = await check(settings(tmp_path, broker_host="127.0.0.1", broker_port=port))
    finally:
        plain.stop()
    (finding,) = about(found, "broker")
    assert finding.would_lose
    assert "kept 1000 of 1500" in finding.says


async def test_a_broker_that_is_not_there_is_said_in_words(tmp_path: Path) -> None:
    found = await check(settings(tmp_path, broker_host="127.0.0.1", broker_port=free_port()))
    (finding,) = about(found, "broker")
    assert finding.would_lose
    assert "no connection" in finding.says


async def test_a_broker_file_that_would_lose_readings_in_a_power_cut_is_named(tmp_path: Path) -> None:
    bare = tmp_path / "bare.conf"
    bare.write_text("persistence true\n")
    (finding,) = about(await check(settings(tmp_path), broker_config=bare), "bare.conf")
    assert finding.would_lose
    assert "autosave_on_changes true" in finding.says
    shipped = SHIPPED / "conf.d" / "houseband.conf"
    (finding,) = about(await check(settings(tmp_path), broker_config=shipped), "houseband.conf")
    assert not finding.would_lose


async def test_postgresql_that_does_not_sync_is_found(postgres_server: PostgresServer, tmp_path: Path) -> None:
    name = "checksetup"
    url = postgres_server.create_database(name)
    found = await check(Settings(database_url=url))
    postgres_server.drop_database(name)
    assert any("fsync is off" in f.says and f.would_lose for f in about(found, "database"))


async def test_no_text_gateway_means_that_nobody_is_woken(tmp_path: Path) -> None:
    (finding,) = about(await check(settings(tmp_path)), "texts")
    assert finding.would_lose


async def test_a_sources_file_with_a_mistake_is_named_with_its_key(tmp_path: Path) -> None:
    wrong = tmp_path / "sources.toml"
    wrong.write_text("[[source]]\nname = 'x'\ntopic = 'a/{probe}'\nvalue = 3\n")
    (finding,) = about(await check(settings(tmp_path, sources_file=wrong)), "sources file")
    assert finding.would_lose
    assert "sources.toml" in finding.says
