"""Publishing against a real broker: the past at speed, a broker that goes away, whole processes."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from simulator import farm, live
from simulator.clock import FarmClock, wall_now_ms
from simulator.faults import FaultBook
from simulator.publish import Publisher
from simulator.world import World
from tests.support.broker import Broker
from tests.support.waiting import until_sync

HOUR_MS = 3_600_000


class Listener:
    """Hears every topic and keeps what it heard, repeats included."""

    def __init__(self, broker: Broker) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.subscribed = threading.Event()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id="listener", protocol=mqtt.MQTTv311, clean_session=False
        )
        self._client.reconnect_delay_set(min_delay=1, max_delay=1)
        self._client.on_connect = lambda client, *_: client.subscribe("#", qos=1)
        self._client.on_subscribe = lambda *_: self.subscribed.set()
        self._client.on_message = lambda _client, _data, message: self.heard.append(
            (message.topic, bytes(message.payload))
        )
        self._client.connect_async(broker.host, broker.port)

    def readings(self) -> dict[tuple[str, str], list[float]]:
        """Times of every (topic, quantity), in order heard, each once."""
        times: dict[tuple[str, str], dict[float, None]] = defaultdict(dict)
        for topic, payload in self.heard:
            records = json.loads(payload)
            for record in records:
                times[topic, record["n"]][round(records[0]["bt"] + record.get("t", 0), 3)] = None
        return {series: list(found) for series, found in times.items()}

    @contextmanager
    def listening(self) -> Iterator[Listener]:
        self._client.loop_start()
        assert self.subscribed.wait(10)
        yield self
        self._client.disconnect()
        self._client.loop_stop()


def test_hours_of_past_arrive_complete_in_order_and_in_few_packs(broker: Broker) -> None:
    anchor_ms = farm.DEMO_EVENING_MS
    world = World(first_reading_ms=anchor_ms - 6 * HOUR_MS, faults=FaultBook())
    clock = FarmClock(anchor_wall_ms=0, anchor_farm_ms=anchor_ms, read_wall_ms=lambda: 0)
    progress, stop = live.Progress(stepped_to_ms=world.now_ms, truths={}), threading.Event()
    with (
        Listener(broker).listening() as listener,
        Publisher(broker.host, broker.port, "past") as publisher,
    ):
        # What is handed over before the connection stands may be overtaken by what comes just after.
        assert publisher.connected.wait(10)
        loop = threading.Thread(target=live.run, args=(world, clock, publisher, progress, stop))
        loop.start()
        assert progress.live.wait(30)
        assert publisher.wait_answered(10)
        stop.set()
        loop.join(10)
        until_sync(lambda: len(listener.heard) >= progress.packs_sent, within_s=10)
    assert progress.past_packs == len(listener.heard) == 6 * 4 * len(farm.PROBES)
    series = listener.readings()
    assert len(series) == sum(len(probe.senses) for probe in farm.PROBES)
    for times in series.values():
        assert len(times) == 360
        assert times == sorted(times)


def test_nothing_is_lost_when_the_broker_is_away_for_a_while(broker: Broker) -> None:
    stop = threading.Event()
    with (
        Listener(broker).listening() as listener,
        Publisher(broker.host, broker.port, "gateway", window=20) as publisher,
    ):
        for number in range(10):
            assert publisher.send("t", str(number).encode(), stop)
        assert publisher.wait_answered(10)
        broker.stop()
        until_sync(lambda: not publisher.connected.is_set(), within_s=10)
        for number in range(10, 30):
            assert publisher.send("t", str(number).encode(), stop)
        stop.set()
        assert not publisher.send("t", b"one more than the window holds", stop)
        broker.start()
        assert publisher.wait_answered(20)
        until_sync(lambda: len({payload for _, payload in listener.heard}) == 30, within_s=20)
    assert list(dict.fromkeys(int(payload) for _, payload in listener.heard)) == list(range(30))


def _start(*words: str) -> tuple[subprocess.Popen[str], str]:
    """The simulator as a process, and the address that it prints."""
    process = subprocess.Popen(
        [sys.executable, "-m", "simulator", *words], stdout=subprocess.PIPE, text=True, bufsize=1
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    assert "invented data" in line
    return process, line.rsplit(" ", 1)[1].strip()


def _end(process: subprocess.Popen[str], how: signal.Signals) -> int:
    process.send_signal(how)
    process.communicate(timeout=20)
    return process.returncode


@pytest.mark.slow
def test_the_farm_runs_as_a_process_breaks_on_demand_and_leaves_cleanly(broker: Broker) -> None:
    now_ms = wall_now_ms()
    words = ["run", "--broker", f"{broker.host}:{broker.port}", "--factor", "600", "--history-hours", "2"]
    anchors = ["--anchor-wall-ms", str(now_ms), "--anchor-farm-ms", str(farm.DEMO_EVENING_MS)]
    process, url = _start(*words, *anchors, "--fault", "humidifier:house-2@+5min")
    try:
        until_sync(lambda: bool(_state(url)["live"]), within_s=30)
        httpx.post(f"{url}/faults", json={"fault": "humidifier:house-1@now"}).raise_for_status()
        until_sync(lambda: _humidity(url, "house-1") < 85, within_s=30)
        until_sync(lambda: _humidity(url, "house-2") < 82, within_s=30)
        assert _humidity(url, "house-4") > 85
    finally:
        ended = _end(process, signal.SIGINT)
    assert ended == 0


def _state(url: str) -> dict[str, Any]:
    state: dict[str, Any] = httpx.get(f"{url}/state").raise_for_status().json()
    return state


def _humidity(url: str, room_id: str) -> float:
    return float(_state(url)["rooms"][room_id]["humidity"])


@pytest.mark.slow
def test_the_phone_runs_as_a_process_and_leaves_cleanly() -> None:
    process, url = _start("phone", "--factor", "20")
    try:
        sent = httpx.post(f"{url}/send", json={"to": "a", "text": "b"}, headers={"Idempotency-Key": "k"})
        assert sent.json() == {"number": 1, "repeat": False}
    finally:
        ended = _end(process, signal.SIGTERM)
    assert ended == 0


@pytest.mark.parametrize("words", [["run", "--fault", "roof:house-1@now"], ["phone", "--factor", "0"]])
def test_a_command_that_cannot_be_says_so_without_a_traceback(words: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "simulator", *words], capture_output=True, text=True, timeout=30, check=False
    )
    assert (done.returncode, done.stderr) == (2, "")
    assert done.stdout.startswith("cannot start: ")
