"""A signed web request to a machine of the farm's choice, with the notice as JSON or as CAP 1.2.

The receiver knows that it is from us, whole and new, by ``Houseband-Signature``: ``v1=`` and the HMAC-SHA256, as
hexadecimal digits, of ``Houseband-Timestamp`` (seconds since 1970, UTC), a dot, and the body as it came.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Final, Literal
from urllib.parse import urlsplit

import httpx

from rules.model import SECOND_MS
from service.errors import SetupError
from service.notifications.carriers import cap
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Outcome
from service.notifications.carriers.web_request import ask

TIMESTAMP: Final = "Houseband-Timestamp"
SIGNATURE: Final = "Houseband-Signature"
KEY: Final = "Idempotency-Key"
_LEAST_SECRET: Final = 16
_TYPE: Final = {"json": "application/json", "cap": "application/cap+xml"}
_FOR_ONE_PERSON: Final = frozenset({"link", "earlier", "phone"})
"""Facts that are not for machines: who holds a link may answer with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Receiver:
    """The machine that is told."""

    url: str = field(repr=False)
    secret: str = field(repr=False)
    sender: str
    """By what name it knows the farm."""
    body: Literal["json", "cap"] = "json"
    timeout_s: float = 10.0

    def __post_init__(self) -> None:
        """Refuse what could only fail at night.

        Raises:
            SetupError: the message names the setting, never its value.
        """
        try:
            parts = urlsplit(self.url)
            whole = parts.scheme in {"http", "https"} and bool(parts.hostname)
            httpx.URL(self.url)
        except (ValueError, httpx.InvalidURL):
            whole = False
        if not whole:
            raise SetupError("webhook address must be http:// or https:// with a host")
        if len(self.secret) < _LEAST_SECRET:
            raise SetupError(f"webhook secret must have at least {_LEAST_SECRET} characters")
        if not self.timeout_s > 0:
            raise SetupError("webhook time-out must be above 0 seconds")


class WebhookCarrier:
    """Tells one machine, with a client that the caller opens and closes."""

    def __init__(self, receiver: Receiver, client: httpx.AsyncClient) -> None:
        self._receiver = receiver
        self._client = client

    async def carry(self, message: Message) -> Outcome:
        receiver = self._receiver
        body = _body(message, receiver).encode()
        timestamp = str(message.at_ms // SECOND_MS)
        headers = {
            "Content-Type": _TYPE[receiver.body],
            TIMESTAMP: timestamp,
            SIGNATURE: sign(receiver.secret, timestamp, body),
            KEY: message.key,
            "Connection": "close",
        }
        request = self._client.build_request(
            "POST", receiver.url, content=body, headers=headers, timeout=receiver.timeout_s
        )
        secrets = (
            receiver.secret,
            *urlsplit(receiver.url).path.split("/"),
            *urlsplit(receiver.url).query.split("="),
        )
        answer = await ask(self._client, request, timeout_s=receiver.timeout_s, secrets=secrets)
        return answer.outcome


def sign(secret: str, timestamp: str, body: bytes) -> str:
    """What stands in the header of the signature."""
    return "v1=" + hmac.new(secret.encode(), timestamp.encode() + b"." + body, sha256).hexdigest()


def _body(message: Message, receiver: Receiver) -> str:
    if receiver.body == "cap":
        return cap.alert(message, sender=receiver.sender)
    facts: Mapping[str, object] = message.facts or {}
    said = {
        "id": message.key,
        "farm": receiver.sender,
        "kind": message.kind,
        "text": message.text,
        "language": message.language,
        "at_ms": facts.get("at_ms", message.at_ms),
        "invented": bool(facts.get("invented")),
        "facts": {name: value for name, value in facts.items() if name not in _FOR_ONE_PERSON},
    }
    return json.dumps(said, ensure_ascii=False, default=str)
