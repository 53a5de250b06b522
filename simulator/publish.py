"""Publishing over MQTT with QoS 1, with only so many messages waiting for the broker's answer.

MQTT 3.1.1 is spoken on purpose: probes in the field do. While the broker is away the window fills,
sending waits, and the stepping loop falls behind; after the return it catches up with timed packs.
"""

from __future__ import annotations

import threading
from types import TracebackType
from typing import Any, Final, Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

WINDOW: Final = 100
_LOOK_AGAIN_S: Final = 0.2
KEEPALIVE_S: Final = 30


class Publisher:
    """A connection that keeps itself up. Use as a context manager."""

    def __init__(self, host: str, port: int, client_id: str, *, window: int = WINDOW) -> None:
        self._address = (host, port)
        self._slots = threading.BoundedSemaphore(window)
        self._counting = threading.Lock()
        self._all_answered = threading.Condition(self._counting)
        self._sent = 0
        self._answered = 0
        self.connected = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv311)
        self._client.max_inflight_messages_set(window)
        self._client.max_queued_messages_set(window)
        self._client.reconnect_delay_set(min_delay=1, max_delay=5)
        self._client.on_publish = self._on_publish
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect

    def __enter__(self) -> Self:
        self._client.connect_async(*self._address, keepalive=KEEPALIVE_S)
        self._client.loop_start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    @property
    def answered(self) -> int:
        """Messages that the broker has taken over (PUBACK)."""
        return self._answered

    def send(self, topic: str, payload: bytes, stop: threading.Event) -> bool:
        """Hand over one message when there is room in the window; False when told to stop first."""
        while not self._slots.acquire(timeout=_LOOK_AGAIN_S):
            if stop.is_set():
                return False
        with self._counting:
            self._sent += 1
        self._client.publish(topic, payload, qos=1)
        return True

    def wait_answered(self, timeout_s: float) -> bool:
        """Wait until the broker has answered everything sent so far."""
        with self._all_answered:
            return self._all_answered.wait_for(lambda: self._answered >= self._sent, timeout_s)

    def _on_publish(self, *_about: Any) -> None:
        with self._all_answered:
            self._answered += 1
            self._all_answered.notify_all()
        self._slots.release()

    def _on_connect(self, _client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if not reason.is_failure:
            self.connected.set()

    def _on_disconnect(self, *_about: Any) -> None:
        self.connected.clear()
