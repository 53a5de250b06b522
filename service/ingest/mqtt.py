"""The connection to the broker, in a thread of its own; messages wait here until they are recorded.

Three things the client library will not do by itself (each lost data when we tried without it):

* An acknowledgement belongs to the connection on which the message came. After a reconnect the same packet id may
  mean another message, so every message carries its connection's *generation*, and acknowledging and losing the
  connection exclude each other by a lock.
* An exception in a callback ends the library's thread without a word, so no callback lets one out.
* "Connected" is no proof of life. Health is judged by when something was last heard, our own marker included.
"""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import wraps
from typing import Any
from uuid import uuid4

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from rules.model import DAY_MS, SECOND_MS, Instant
from service.clock import Clock
from service.log import log
from service.messages import Incoming

SESSION_EXPIRY_S = 7 * DAY_MS // SECOND_MS
RECEIVE_MAXIMUM = 500
KEEPALIVE_S = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """Where the broker is, and who we are to it."""

    host: str
    port: int
    client_id: str
    username: str | None = None
    password: str | None = None
    tls: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """A message that waits to be recorded and acknowledged."""

    incoming: Incoming
    packet_id: int
    generation: int


@dataclass(slots=True)
class Listener:
    """What the connection tells the rest of the service. All are called on the event loop."""

    connected: Callable[[], None]
    lost: Callable[[], None]
    woken: asyncio.Event = field(default_factory=asyncio.Event)


def _contained(callback: Callable[..., None]) -> Callable[..., None]:
    """Log what a callback raises; the thread must go on."""

    @wraps(callback)
    def wrapper(*args: Any) -> None:
        try:
            callback(*args)
        except Exception:  # noqa: BLE001 - see the second point above
            log.exception("broker callback failed", callback=callback.__name__)

    return wrapper


class Connection:
    """One session at the broker."""

    def __init__(
        self,
        broker: Broker,
        *,
        subscriptions: Sequence[str],
        marker_topic: str,
        clock: Clock,
        listener: Listener,
    ) -> None:
        self.broker = broker
        self.subscriptions = subscriptions
        self.marker_topic = marker_topic
        self.clock = clock
        self.listener = listener
        self.marker = b""
        self.last_heard_ms: Instant | None = None
        self._loop = asyncio.get_running_loop()
        self._waiting: deque[Received] = deque()
        self._generation = 0
        self._lock = threading.Lock()
        self._client = self._make_client()

    def start(self) -> None:
        """Connect, and keep trying: the broker may come up later than we do."""
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = SESSION_EXPIRY_S
        properties.ReceiveMaximum = RECEIVE_MAXIMUM
        self._client.connect_async(
            self.broker.host, self.broker.port, keepalive=KEEPALIVE_S, clean_start=False, properties=properties
        )
        self._client.loop_start()

    def stop(self) -> None:
        """Leave; the session and what queues up in it stay at the broker."""
        self._client.disconnect()
        self._client.loop_stop()

    def take(self, most: int) -> list[Received]:
        """The oldest waiting messages; they stay waiting at the broker until acknowledged."""
        with self._lock:
            return [self._waiting.popleft() for _ in range(min(most, len(self._waiting)))]

    def is_our_marker(self, message: Received) -> bool:
        """True for the marker that was sent on the connection that still stands."""
        with self._lock:
            return message.generation == self._generation and message.incoming.payload == self.marker

    def acknowledge(self, messages: Sequence[Received]) -> None:
        """Acknowledge in order of arrival, except what came on an earlier connection."""
        with self._lock:
            for message in messages:
                if message.generation == self._generation and message.incoming.qos > 0:
                    self._client.ack(message.packet_id, message.incoming.qos)

    @property
    def waiting(self) -> int:
        """How many messages wait to be recorded."""
        return len(self._waiting)

    # --- callbacks, on the library's thread -------------------------------------------------------------------

    def _make_client(self) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=self.broker.client_id,
            protocol=mqtt.MQTTv5,
            manual_ack=True,
        )
        if self.broker.username is not None:
            client.username_pw_set(self.broker.username, self.broker.password)
        if self.broker.tls:
            client.tls_set()
        client.reconnect_delay_set(min_delay=1, max_delay=15)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        return client

    @_contained
    def _on_connect(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            log.warning("broker refused us", reason=str(reason))
            return
        self._forget_connection()
        client.subscribe([(topic, SubscribeOptions(qos=1)) for topic in self.subscriptions])

    @_contained
    def _on_subscribe(self, client: mqtt.Client, _data: Any, _mid: int, codes: Any, _properties: Any) -> None:
        refused = [t for t, code in zip(self.subscriptions, codes, strict=False) if code.is_failure]
        if refused:
            log.error("broker refused a subscription", topics=refused)
        self.marker = uuid4().hex.encode()
        client.publish(self.marker_topic, self.marker, qos=1)
        self._loop.call_soon_threadsafe(self.listener.connected)

    @_contained
    def _on_disconnect(self, _client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        self._forget_connection()
        log.warning("broker connection lost", reason=str(reason))
        self._loop.call_soon_threadsafe(self.listener.lost)

    @_contained
    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        now_ms = self.clock.now_ms()
        self.last_heard_ms = now_ms
        incoming = Incoming(
            topic=message.topic,
            payload=bytes(message.payload),
            received_ms=now_ms,
            content_type=getattr(message.properties, "ContentType", None),
            retained=bool(message.retain),
            duplicate=bool(message.dup),
            qos=message.qos,
        )
        with self._lock:
            received = Received(incoming=incoming, packet_id=message.mid, generation=self._generation)
            self._waiting.append(received)
        self._loop.call_soon_threadsafe(self.listener.woken.set)

    def _forget_connection(self) -> None:
        """What waits from the old connection will come again on the new one."""
        with self._lock:
            self._generation += 1
            self._waiting.clear()
