"""Small MQTT 5 clients for tests: one that publishes until everything is acknowledged, one that listens."""

from __future__ import annotations

from collections.abc import Iterable

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from tests.support.waiting import until_sync

_LISTENING_S = 3600
_WITHIN_S = 30


def publish_all(
    port: int, messages: Iterable[tuple[str, bytes]], *, qos: int = 1, login: tuple[str, str] | None = None
) -> None:
    """Publish over one connection, and return when the broker has acknowledged every message (QoS 1)."""
    client = _client("", login)
    client.max_inflight_messages_set(200)
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        for info in [client.publish(topic, payload, qos=qos) for topic, payload in messages]:
            info.wait_for_publish(timeout=_WITHIN_S)
            assert info.is_published(), "the broker did not acknowledge in time"
    finally:
        client.disconnect()
        client.loop_stop()


def connect_code(port: int, login: tuple[str, str] | None = None) -> str:
    """Try to sign in, and return the broker's answer in its own words."""
    answers: list[str] = []
    client = _client("", login)
    client.on_connect = lambda _client, _data, _flags, code, _properties: answers.append(str(code))
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        until_sync(lambda: bool(answers), within_s=_WITHIN_S, what="an answer to CONNECT")
    finally:
        client.disconnect()
        client.loop_stop()
    return answers[0]


class Listener:
    """A subscriber with a session that the broker keeps while it is away."""

    def __init__(self, port: int, client_id: str, topic: str) -> None:
        """Prepare; nothing is connected before ``come``."""
        self.payloads: list[bytes] = []
        self._port = port
        self._id = client_id
        self._topic = topic
        self._client: mqtt.Client | None = None
        self._subscribed = False

    def come(self) -> None:
        """Connect, resume the session, and return when the subscription stands."""
        self._subscribed = False
        self._client = client = _client(self._id)
        client.on_message = lambda _client, _data, message: self.payloads.append(bytes(message.payload))
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        lasting = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        lasting.SessionExpiryInterval = _LISTENING_S
        client.connect("127.0.0.1", self._port, clean_start=False, properties=lasting)
        client.loop_start()
        until_sync(lambda: self._subscribed, within_s=_WITHIN_S, what="the subscription")

    def go(self) -> None:
        """Disconnect; the session stays with the broker."""
        if self._client:
            self._client.disconnect()
            self._client.loop_stop()
            self._client = None

    def _on_connect(self, client: mqtt.Client, *_rest: object) -> None:
        client.subscribe(self._topic, qos=1)

    def _on_subscribe(
        self,
        _client: mqtt.Client,
        _data: object,
        _mid: int,
        _codes: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        self._subscribed = True


def _client(client_id: str, login: tuple[str, str] | None = None) -> mqtt.Client:
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTProtocolVersion.MQTTv5)
    if login:
        client.username_pw_set(*login)
    return client
