"""Trying a broker out: does it keep messages for a client that is away?

Brokers accept a message from a probe and may drop it a moment later, because too many wait for one client already.
So we are away for a while, send more than the usual limit to ourselves, come back, and count.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final, Self
from uuid import uuid4

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from service.settings import Settings
from service.wire.topics import marker_topic

SENT: Final = 1500
"""More than the 1000 that a common broker keeps unless told otherwise."""
EXPIRY_S: Final = 120
PATIENCE_S: Final = 15.0


class TrialFailed(Exception):  # noqa: N818 - reads as the sentence it is
    """The broker could not be tried out; the message says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """How many messages were sent to an absent client, and how many it found on coming back."""

    sent: int
    kept: int


def try_broker(settings: Settings) -> Trial:
    """Send ourselves :data:`SENT` messages while away, and count what comes.

    Raises:
        TrialFailed: no connection, refused, or no MQTT 5.
    """
    name = f"houseband-check-{uuid4().hex[:8]}"
    topic = marker_topic(settings.topic_prefix, settings.farm, name)
    with _Client(settings, name, clean=True) as absent:
        absent.subscribe(topic)
    with _Client(settings, f"{name}-sender", clean=True) as sender:
        sender.publish(topic, SENT)
    with _Client(settings, name, clean=False) as back:
        kept = back.count(SENT)
    with _Client(settings, name, clean=True, expiry_s=0):
        pass  # leaves nothing behind at the broker
    return Trial(sent=SENT, kept=kept)


@dataclass
class _Client:
    """One short connection, in blocking style."""

    settings: Settings
    name: str
    clean: bool
    expiry_s: int = EXPIRY_S
    refused: str = ""
    received: int = 0
    answered: int = 0
    changed: threading.Condition = field(default_factory=threading.Condition)
    connected: bool = False

    def __enter__(self) -> Self:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=self.name, protocol=mqtt.MQTTv5)
        self.client = client
        password = self.settings.broker_password
        if self.settings.broker_username is not None:
            secret = None if password is None else password.get_secret_value()
            client.username_pw_set(self.settings.broker_username, secret)
        if self.settings.broker_tls:
            client.tls_set()
        client.on_connect, client.on_message = self._on_connect, self._on_message
        client.on_subscribe = client.on_publish = self._on_answer
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = self.expiry_s
        try:
            client.connect(
                str(self.settings.broker_host),
                self.settings.broker_port,
                clean_start=self.clean,
                properties=properties,
            )
        except OSError as error:
            raise TrialFailed(f"no connection ({error.strerror or error})") from error
        client.loop_start()
        if not self._wait(lambda: self.connected or bool(self.refused)):
            self.__exit__()
            raise TrialFailed("no answer; does it speak MQTT 5?")
        if self.refused:
            self.__exit__()
            raise TrialFailed(f"refused us: {self.refused}")
        return self

    def __exit__(self, *_: object) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def subscribe(self, topic: str) -> None:
        self.client.subscribe(topic, qos=1)
        self._wait(lambda: self.answered >= 1)

    def publish(self, topic: str, count: int) -> None:
        for _ in range(count):
            self.client.publish(topic, b"check-setup", qos=1)
        self._wait(lambda: self.answered >= count)

    def count(self, expected: int) -> int:
        """Wait until all came, or nothing more comes for a while."""
        before = -1
        while before < self.received < expected:
            before = self.received
            self._wait(lambda: self.received >= expected, within_s=PATIENCE_S / 5)
        return self.received

    def _wait(self, condition: Callable[[], bool], within_s: float = PATIENCE_S) -> bool:
        with self.changed:
            return self.changed.wait_for(condition, timeout=within_s)

    def _on_connect(self, _c: mqtt.Client, _d: Any, _f: Any, reason: Any, _p: Any) -> None:
        with self.changed:
            self.connected, self.refused = not reason.is_failure, str(reason) if reason.is_failure else ""
            self.changed.notify_all()

    def _on_message(self, _c: mqtt.Client, _d: Any, _message: Any) -> None:
        with self.changed:
            self.received += 1
            self.changed.notify_all()

    def _on_answer(self, *_: Any) -> None:
        with self.changed:
            self.answered += 1
            self.changed.notify_all()
