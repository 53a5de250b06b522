"""Something on a real broker that listens as a lamp would, and keeps what it is told."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.support.broker import Broker


class LampListener:
    """Payloads by topic, in order, and the keys they came under."""

    def __init__(self, broker: Broker, topic: str) -> None:
        self.heard: list[tuple[str, str]] = []
        self.keys: list[str] = []
        self.retained: list[bool] = []
        self._topic = topic
        self._changed = threading.Condition()
        self._ready = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.on_connect = lambda client, *_: client.subscribe(topic, qos=1)
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = self._on_message
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        assert self._ready.wait(10)

    def until(self, count: int) -> list[tuple[str, str]]:
        """What was heard, once there is so much of it."""
        with self._changed:
            assert self._changed.wait_for(lambda: len(self.heard) >= count, timeout=10)
        return self.heard

    def end(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        with self._changed:
            self.heard.append((message.topic, message.payload.decode()))
            self.retained.append(message.retain)
            self.keys += [
                value
                for name, value in getattr(message.properties, "UserProperty", ())
                if name == "idempotency-key"
            ]
            self._changed.notify_all()


@contextmanager
def lamp_listener(broker: Broker, topic: str = "#") -> Iterator[LampListener]:
    listener = LampListener(broker, topic)
    try:
        yield listener
    finally:
        listener.end()
