"""A lamp, a siren or whatever else listens to a topic: one payload when something is wrong, one when it is over.

The broker's answer to a publication at QoS 1 is all that can be known: it says that the broker has it, and, in
MQTT 5, whether anybody listens. Nobody there is no telling, unless the payload is retained for who comes later.
"""

from __future__ import annotations

import asyncio
import threading
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import uuid4

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from service.errors import SetupError
from service.notifications.carriers.detail import detail
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable

DANGER: Final = "danger"
PEOPLE: Final = "people"
ENDS: Final = frozenset({"back", "held", "heard", "site back", "came out"})
_TURN_S: Final = 0.05
_NOBODY: Final = 16
"""PUBACK reason code "no matching subscribers"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LampTopic:
    """What is published, and through which broker."""

    host: str
    port: int
    topic: str
    danger_topic: str | None = None
    """Danger to people has a lamp of its own, if there is one."""
    on: str = "on"
    off: str = "off"
    retained: bool = False
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    timeout_s: float = 10.0

    def __post_init__(self) -> None:
        """Refuse what could only fail at night.

        Raises:
            SetupError: the message names the setting.
        """
        for topic in (self.topic, self.danger_topic):
            if topic is not None and (not topic or set(topic) & set("+#\0") or topic.startswith("$")):
                raise SetupError("lamp topic must be a plain topic, without + and #")
        if not self.timeout_s > 0:
            raise SetupError("lamp time-out must be above 0 seconds")


class LampCarrier:
    """Switches lamps; one connection to a message, as messages are hours apart."""

    def __init__(self, lamp: LampTopic) -> None:
        self._lamp = lamp

    async def carry(self, message: Message) -> Outcome:
        attempt = _Attempt(self._lamp, message)
        try:
            async with asyncio.timeout(self._lamp.timeout_s):
                return await asyncio.to_thread(attempt.run)
        except TimeoutError:
            return Unreachable(detail=f"broker: no answer within {self._lamp.timeout_s:g} s")
        finally:
            attempt.given_up.set()


def _what(message: Message, lamp: LampTopic) -> tuple[str, str]:
    about_people = message.kind == DANGER or (message.facts or {}).get("side") == PEOPLE
    topic = lamp.danger_topic if about_people and lamp.danger_topic else lamp.topic
    return topic, lamp.off if message.kind in ENDS else lamp.on


class _Attempt:
    """One connection and one publication, in a thread of its own."""

    def __init__(self, lamp: LampTopic, message: Message) -> None:
        self._lamp = lamp
        self._topic, self._payload = _what(message, lamp)
        self._key = message.key
        self._outcome: Outcome | None = None
        self.given_up = threading.Event()

    def run(self) -> Outcome:
        client = self._made()
        try:
            client.connect(self._lamp.host, self._lamp.port)
            while self._outcome is None and not self.given_up.is_set():
                if client.loop(_TURN_S) != MQTTErrorCode.MQTT_ERR_SUCCESS:
                    self._settle(Unreachable(detail="broker: the connection was lost"))
        except (OSError, ValueError) as trouble:
            self._settle(Unreachable(detail=detail(f"broker: {trouble}")))
        finally:
            client.disconnect()
        return self._outcome or Unreachable(detail="broker: given up")

    def _made(self) -> mqtt.Client:
        lamp = self._lamp
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=f"houseband-lamp-{uuid4().hex[:8]}", protocol=mqtt.MQTTv5
        )
        client.on_connect, client.on_publish = self._on_connect, self._on_publish
        client.connect_timeout = lamp.timeout_s
        if lamp.username is not None:
            client.username_pw_set(lamp.username, lamp.password)
        if lamp.tls:
            client.tls_set()
        return client

    def _on_connect(self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._settle(Refused(protocol="mqtt", status=reason.value, detail=detail(f"broker: {reason}")))
            return
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        properties.UserProperty = ("idempotency-key", self._key)
        client.publish(self._topic, self._payload, qos=1, retain=self._lamp.retained, properties=properties)

    def _on_publish(self, _client: mqtt.Client, _data: Any, _mid: int, reason: Any, _properties: Any) -> None:
        if reason.is_failure or (reason.value == _NOBODY and not self._lamp.retained):
            said = "nobody listens to the topic" if reason.value == _NOBODY else str(reason)
            self._settle(Refused(protocol="mqtt", status=reason.value, detail=detail(f"broker: {said}")))
        else:
            self._settle(Accepted(detail=detail(f"{self._payload} on {self._topic}")))

    def _settle(self, outcome: Outcome) -> None:
        """The first word counts."""
        self._outcome = self._outcome or outcome
