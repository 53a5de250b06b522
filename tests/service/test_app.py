"""The whole service, put together: real broker, real database, real gateway; only the clock runs faster."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from fastapi import FastAPI

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.app.running import running
from service.clock import wall_now_ms
from service.errors import SetupError
from service.settings import Settings, TextGatewaySettings
from service.storage.database import Database
from service.storage.only_one import REFUSED, only_one
from service.watch.desk import Desk
from tests.support import farmyard
from tests.support.broker import Broker
from tests.support.mail_bag import pack
from tests.support.mqtt import publish_all
from tests.support.telling import FIELDS, PHONES
from tests.support.text_gateway import PretendGateway, pretend_gateway
from tests.support.waiting import until
from tests.support.watched import DRY, GOOD

FACTOR: Final = 240.0
"""Four farm minutes to a second: eight minutes of waiting take two seconds."""
STEP_MS: Final = 30 * SECOND_MS


@pytest.fixture
def gateway() -> Iterator[PretendGateway]:
    with pretend_gateway() as made:
        yield made


@pytest.fixture
async def settings(database: Database, broker: Broker, gateway: PretendGateway) -> Settings:
    """The invented farm, with everything in place, about to be served."""
    await farmyard.settle(database)
    return Settings(
        database_url=database.url.render_as_string(hide_password=False),
        farm="tansy",
        broker_host=broker.host,
        broker_port=broker.port,
        text_gateway=TextGatewaySettings(url=gateway.url, fields=FIELDS),
        sweep_every_s=0.2,
        clock_factor=FACTOR,
        clock_anchor_wall_ms=wall_now_ms(),
        clock_anchor_farm_ms=farmyard.NOW_MS,
    )


def desk(app: FastAPI) -> Desk:
    found: Desk = app.state.desk
    return found


class Probe:
    """Publishes the humidity of House 7 every half farm minute until something is true."""

    def __init__(self, broker: Broker, app: FastAPI) -> None:
        self.port = broker.port
        self.clock = desk(app).clock
        self.next_ms: Instant = self.clock.now_ms()

    async def shows(self, value: float, until_true: Any, *, within_ms: int = 30 * MINUTE_MS) -> None:
        end_ms = self.clock.now_ms() + within_ms
        while not until_true():
            assert self.clock.now_ms() < end_ms, "it did not come true within half a farm hour"
            self.next_ms = max(self.next_ms + STEP_MS, self.clock.now_ms())
            await until(lambda: self.clock.now_ms() >= self.next_ms, within_s=5, what="the next reading")
            body = pack(value, at_ms=self.next_ms, probe="h7-door").encode()
            await asyncio.to_thread(publish_all, self.port, [("houseband/tansy/h7-door", body)])


def texts(gateway: PretendGateway) -> list[tuple[str, str]]:
    asked = [json.loads(one.body) for one in gateway.asked]
    return [(PHONES[one["to"]], one["text"]) for one in asked]


async def test_humidity_falls_and_phones_get_a_text_and_another_when_it_is_back(
    settings: Settings, broker: Broker, gateway: PretendGateway
) -> None:
    async with running(settings) as app:
        await until(lambda: desk(app).horizon.is_listening, within_s=10, what="the marker")
        probe = Probe(broker, app)
        start_ms = probe.next_ms
        await probe.shows(GOOD, lambda: probe.next_ms > start_ms + 2 * MINUTE_MS)
        await probe.shows(DRY, lambda: len(gateway.asked) >= 2)
        told = dict(texts(gateway))
        assert sorted(told) == ["ben", "maria"]
        for said in ("House 7", "shiitake", "pins", "80", "85"):
            assert said in told["maria"]
        await probe.shows(GOOD, lambda: len(gateway.asked) >= 4)
        assert sorted(who for who, _ in texts(gateway)[2:]) == ["ben", "maria"]
        assert desk(app).broker_heard_ms() is not None


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
async def test_while_the_broker_is_away_no_wait_ends(
    settings: Settings, broker: Broker, gateway: PretendGateway
) -> None:
    async with running(settings) as app:
        await until(lambda: desk(app).horizon.is_listening, within_s=10, what="the marker")
        probe = Probe(broker, app)
        start_ms = probe.next_ms
        await probe.shows(DRY, lambda: probe.next_ms > start_ms + 4 * MINUTE_MS)
        broker.stop()
        await until(lambda: not desk(app).horizon.is_listening, within_s=10, what="the loss of the broker")
        away_ms = probe.clock.now_ms()
        await until(lambda: probe.clock.now_ms() > away_ms + 6 * MINUTE_MS, within_s=10, what="six farm minutes")
        assert gateway.asked == []


async def test_a_second_service_is_refused_in_plain_words_and_may_come_after_the_first(settings: Settings) -> None:
    async with running(settings):
        with pytest.raises(SetupError) as caught:
            async with running(settings):
                pass
        assert str(caught.value) == REFUSED
        assert "stop it first" in REFUSED
    async with running(settings):
        pass


async def test_the_place_is_free_again_while_the_database_stays_open(database: Database) -> None:
    for _ in range(2):
        async with only_one(database, 1):
            pass
    again = Database(database.url.render_as_string(hide_password=False))
    try:
        async with only_one(again, 1):
            pass
    finally:
        await again.close()


async def test_a_farm_of_which_only_the_name_is_known_can_be_served_without_a_broker(database: Database) -> None:
    url = database.url.render_as_string(hide_password=False)
    async with running(Settings(database_url=url, farm="brand-new")) as app:
        assert desk(app).farm["zone"] == "UTC"
        assert desk(app).horizon.is_listening
        assert await desk(app).sweep.all_rooms() == 0


async def test_a_sources_file_that_is_not_there_is_said_before_anything_is_served(
    database: Database, broker: Broker
) -> None:
    url = database.url.render_as_string(hide_password=False)
    wrong = Settings(
        database_url=url, broker_host=broker.host, broker_port=broker.port, sources_file=Path("gone.toml")
    )
    with pytest.raises(SetupError, match=r"gone\.toml"):
        async with running(wrong):
            pass
