"""Either broker of the demo carries packs from a probe's protocol to the service's."""

from __future__ import annotations

import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from simulator import demo_broker
from simulator.demo_broker import BUILT_IN, MOSQUITTO, Broker, plan_broker
from simulator.doors import LOOPBACK, answers, free_port
from simulator.parts import environment
from simulator.publish import Publisher
from tests.support.waiting import until_sync

PACKS = 300


@contextmanager
def served(broker: Broker, folder: Path) -> Iterator[None]:
    """The broker, running until the block ends."""
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(
            broker.command, cwd=folder, env=environment({}), stdout=log, stderr=subprocess.STDOUT
        )
    try:
        until_sync(lambda: answers(broker.probe_port) and answers(broker.service_port), within_s=10, what="ports")
        yield
    finally:
        process.terminate()
        process.wait(timeout=10)


@pytest.mark.parametrize("kind", [MOSQUITTO, BUILT_IN])
def test_packs_arrive_once_each_and_in_order(kind: str, tmp_path: Path) -> None:
    if kind == MOSQUITTO and not demo_broker.find_mosquitto():
        pytest.skip("mosquitto is not installed (Debian: apt-get install mosquitto)")
    broker = plan_broker(tmp_path, kind)
    got: list[bytes] = []
    subscribed, never = threading.Event(), threading.Event()
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="service", protocol=mqtt.MQTTv5)
    client.on_message = lambda _client, _data, message: got.append(bytes(message.payload))
    client.on_subscribe = lambda *_: subscribed.set()
    with served(broker, tmp_path):
        client.connect(LOOPBACK, broker.service_port)
        client.subscribe("houseband/#", qos=1)
        client.loop_start()
        assert subscribed.wait(10)
        packs = [f"{number}:".encode() + b"x" * 30_000 for number in range(PACKS)]
        with Publisher(LOOPBACK, broker.probe_port, "gateway") as publisher:
            assert all(publisher.send("houseband/f/p", pack, never) for pack in packs)
            assert publisher.wait_answered(20)
        until_sync(lambda: len(got) >= PACKS, within_s=20, what="all packs")
        client.disconnect()
        client.loop_stop()
    assert got == packs


def test_without_mosquitto_the_broker_of_pip_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo_broker, "find_mosquitto", lambda: None)
    assert plan_broker(tmp_path).title == "the broker that pip installs"
    with pytest.raises(ValueError, match="not installed"):
        plan_broker(tmp_path, MOSQUITTO)


def test_a_busy_port_gives_way_to_a_free_one() -> None:
    wanted = free_port()
    assert free_port(wanted) == wanted
    with socket.create_server((LOOPBACK, wanted)):
        assert free_port(wanted) != wanted
