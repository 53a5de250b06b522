"""From a real broker to the disk, and only then the acknowledgement."""

from __future__ import annotations

import asyncio
import sqlite3
from pathlib import Path
from typing import Any

import cbor2
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from rules.model import DAY_MS, SECOND_MS
from service.ingest.mqtt import Received
from service.messages import Incoming
from service.storage.database import Database
from tests.support.broker import Broker
from tests.support.databases import sqlite_database, sqlite_url
from tests.support.farmyard import NOW_MS, add_farm, add_rooms
from tests.support.ingesting import ingesting, stored, until_stored
from tests.support.mail_bag import pack
from tests.support.mqtt import publish_all
from tests.support.mqtt_proxy import mqtt_proxy
from tests.support.waiting import until
from tests.support.written import tally, written


@pytest.fixture
async def database(tmp_path: Path) -> Any:
    """SQLite, which waits only briefly for another writer."""
    async with sqlite_database(tmp_path) as made:
        await add_farm(made)
    hasty = Database(sqlite_url(tmp_path), busy_timeout_ms=20)
    try:
        yield hasty
    finally:
        await hasty.close()


def timed(value: float, *, ago_s: float = 1.0, probe: str = "p1") -> tuple[str, bytes]:
    at_ms = NOW_MS - round(ago_s * SECOND_MS)
    return f"houseband/tansy/{probe}", pack(value, at_ms=at_ms, probe=probe).encode()


async def publish(broker: Broker, *messages: tuple[str, bytes], qos: int = 1) -> None:
    await asyncio.to_thread(publish_all, broker.port, messages, qos=qos)


async def until_logged(capfd: pytest.CaptureFixture[str], line: str) -> None:
    said: list[str] = []

    def found() -> bool:
        said.append("".join(capfd.readouterr()))
        return line in "".join(said)

    await until(found, within_s=10, what=f"the line {line!r} in the log")


async def test_what_is_on_the_disk_is_acknowledged_and_does_not_come_again(
    database: Database, broker: Broker
) -> None:
    async with mqtt_proxy(broker.port) as proxy, ingesting(database, broker, port=proxy.port) as ingest:
        await ingest.caught_up()
        await publish(broker, *(timed(90 + n / 10, ago_s=60 - n) for n in range(50)))
        await until_stored(database, 50)
        await until(lambda: proxy.unacknowledged == 0, within_s=10, what="all acknowledgements")
    # Who comes back before the broker has read our last acknowledgements takes the session over without them.
    await until(lambda: "Client ingest-test" in broker.log.read_text(), within_s=10, what="our parting")
    async with ingesting(database, broker) as again:
        await again.caught_up()
    assert await stored(database) == [90 + n / 10 for n in range(50)]
    assert await tally(database, "messages") == 50


async def test_a_locked_database_holds_back_the_acknowledgement_and_nothing_is_lost(
    database: Database, broker: Broker, tmp_path: Path
) -> None:
    async with mqtt_proxy(broker.port) as proxy, ingesting(database, broker, port=proxy.port) as ingest:
        await ingest.caught_up()
        await until(lambda: proxy.unacknowledged == 0, within_s=10, what="the marker's acknowledgement")
        before = proxy.delivered
        other = sqlite3.connect(tmp_path / "houseband.db", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        await publish(broker, *(timed(90 + n / 10, ago_s=60 - n) for n in range(20)))
        await until(lambda: proxy.delivered == before + 20, within_s=10, what="all messages at the service")
        await until(lambda: ingest.connection.waiting < 20, within_s=10, what="the first batch to be tried")
        assert proxy.unacknowledged == 20
        other.execute("ROLLBACK")
        other.close()
        await until(lambda: proxy.unacknowledged == 0, within_s=15, what="all acknowledgements")
        assert len(await stored(database)) == 20


async def test_what_was_not_acknowledged_comes_again_to_the_next_run(
    database: Database, broker: Broker, tmp_path: Path
) -> None:
    other = sqlite3.connect(tmp_path / "houseband.db", isolation_level=None)
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        other.execute("BEGIN IMMEDIATE")
        await publish(broker, timed(91.0), timed(92.0, probe="p2"))
        heard = ingest.connection
        await until(lambda: heard.last_heard_ms is not None, within_s=10, what="the messages")
    other.close()
    assert await stored(database) == []
    async with ingesting(database, broker) as again:
        await again.caught_up()
        assert await stored(database) == [91.0, 92.0]


async def test_what_queued_up_while_we_were_away_is_taken_in_order_before_we_listen_again(
    database: Database, broker: Broker
) -> None:
    """Bare numbers have no time of their own: their order is the order in which they came."""
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
    values = [80 + n / 100 for n in range(600)]
    await publish(broker, *(("houseband/tansy/p1/humidity", str(value).encode()) for value in values))
    async with ingesting(database, broker) as again:
        await again.caught_up()
        assert await stored(database) == values


async def test_until_the_marker_is_back_nothing_may_be_judged(database: Database, broker: Broker) -> None:
    async with ingesting(database, broker) as ingest:
        assert ingest.horizon.limit_ms(NOW_MS) == 0
        await ingest.caught_up()
        assert ingest.horizon.limit_ms(NOW_MS) == NOW_MS
        broker.stop()
        await until(lambda: not ingest.horizon.is_listening, within_s=10, what="the loss of the broker")
        assert ingest.horizon.limit_ms(NOW_MS + 90 * SECOND_MS) == NOW_MS


async def test_a_broker_that_restarts_is_found_again_and_brings_everything(
    database: Database, broker: Broker
) -> None:
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        await publish(broker, timed(91.0))
        await until_stored(database, 1)
        broker.stop()
        await until(lambda: not ingest.horizon.is_listening, within_s=10, what="the loss of the broker")
        broker.start()
        await publish(broker, timed(92.0, probe="p2"))
        await ingest.caught_up()
        await until_stored(database, 2)


async def test_an_acknowledgement_of_an_earlier_connection_is_dropped(database: Database, broker: Broker) -> None:
    """After a reconnect the same packet id may mean another message."""
    async with mqtt_proxy(broker.port) as proxy, ingesting(database, broker, port=proxy.port) as ingest:
        await ingest.caught_up()
        await until(lambda: proxy.unacknowledged == 0, within_s=10, what="the marker's acknowledgement")
        before = proxy.acknowledged
        stale = Received(
            incoming=Incoming(topic="houseband/tansy/p1/humidity", payload=b"91", received_ms=NOW_MS),
            packet_id=1,
            generation=ingest.connection._generation - 1,
        )
        ingest.connection.acknowledge([stale])
        await publish(broker, timed(91.0))
        await until_stored(database, 1)
        await until(lambda: proxy.acknowledged > before, within_s=10, what="the next acknowledgement")
        assert proxy.acknowledged == before + 1
        assert proxy.unacknowledged == 0


async def test_the_marker_of_a_lost_connection_does_not_end_deafness(database: Database, broker: Broker) -> None:
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        topic = ingest.connection.marker_topic
        marker = Incoming(topic=topic, payload=ingest.connection.marker, received_ms=NOW_MS)
        late = Received(incoming=marker, packet_id=7, generation=ingest.connection._generation)
        broker.stop()
        await until(lambda: not ingest.horizon.is_listening, within_s=10, what="the loss of the broker")
        await ingest.recording.handle([late])
        assert not ingest.horizon.is_listening


async def test_messages_that_wait_when_the_connection_is_lost_are_forgotten_not_doubled(
    database: Database, broker: Broker
) -> None:
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        await publish(broker, *(timed(90 + n / 10, ago_s=60 - n) for n in range(30)))
        broker.restart()
        await until_stored(database, 30)
        await until(lambda: ingest.horizon.is_listening, within_s=15, what="our own marker")
    assert len(await stored(database)) == 30


async def test_trouble_in_a_callback_does_not_end_the_listening(
    database: Database, broker: Broker, capfd: pytest.CaptureFixture[str]
) -> None:
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        healthy, ingest.connection.clock = ingest.connection.clock, None  # type: ignore[assignment]
        await publish(broker, timed(91.0))
        await until_logged(capfd, "broker callback failed")
        ingest.connection.clock = healthy
        await publish(broker, timed(92.0, probe="p2"))
        await until_stored(database, 1)
        assert await stored(database) == [92.0]


async def test_trouble_in_recording_is_retried_and_does_not_end_the_loop(
    database: Database, broker: Broker, capfd: pytest.CaptureFixture[str]
) -> None:
    """Without its table for rejected messages even setting aside fails; once that is mended, all is there."""
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        async with database.write() as connection:
            await connection.exec_driver_sql("ALTER TABLE rejected RENAME TO mislaid")
        await publish(broker, ("houseband/tansy/p1/humidity", b"nonsense"), timed(91.0))
        await until_logged(capfd, "readings could not be recorded")
        async with database.write() as connection:
            await connection.exec_driver_sql("ALTER TABLE mislaid RENAME TO rejected")
        await until_stored(database, 1)
        assert [row["payload"] for row in await written(database, "rejected")] == [b"nonsense"]


async def test_packs_in_json_and_cbor_and_bare_numbers_are_all_taken(database: Database, broker: Broker) -> None:
    record = {-2: "p-cbor/", 0: "humidity", 1: "%RH", 2: 92.0, 6: NOW_MS / 1000}
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        await asyncio.to_thread(_publish_as, broker.port, "houseband/tansy/p-type", cbor2.dumps([record]))
        await publish(
            broker,
            timed(91.0, probe="p-json"),
            ("houseband/tansy/p-cbor/cbor", cbor2.dumps([record])),
            ("houseband/tansy/p-bare/humidity", b"93.0"),
        )
        await until_stored(database, 4)
    assert [row["probe_id"] for row in await written(database, "probes")] == [
        "p-bare",
        "p-cbor",
        "p-json",
        "p-type",
    ]
    assert await written(database, "rejected") == []


def _publish_as(port: int, topic: str, payload: bytes) -> None:
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.connect("127.0.0.1", port)
    client.loop_start()
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.ContentType = "application/senml+cbor"
    client.publish(topic, payload, qos=1, properties=properties).wait_for_publish(timeout=10)
    client.disconnect()
    client.loop_stop()


async def test_a_reading_without_delivery_assurance_is_stored_and_shown_as_such(
    database: Database, broker: Broker
) -> None:
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        await publish(broker, timed(91.0), qos=0)
        await until_stored(database, 1)
        assert await tally(database, "accepted: sent without delivery assurance (QoS 0), may be lost") == 1


async def test_rooms_that_were_concerned_are_passed_on(database: Database, broker: Broker) -> None:
    await add_rooms(database, 1, NOW_MS - DAY_MS)
    async with ingesting(database, broker) as ingest:
        await ingest.caught_up()
        await publish(broker, timed(91.0, probe="h7-door"), timed(92.0, probe="h3-middle"), timed(93.0))
        await until_stored(database, 3)
        await until(lambda: set().union(*ingest.rooms) == {"house-7", "house-3"}, within_s=5, what="both rooms")
