"""A text message, or a call, by an HTTP gateway: whatever service or box turns one web request into one of them.

The administrator says once how the request looks. The address may hold RFC 6570 placeholders, which the library
percent-encodes; field values hold plain ``{to}``, ``{text}`` and ``{key}``, which JSON or the form encodes.
There is no other logic in a setting, so a setting cannot do anything else.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal
from urllib.parse import urlsplit

import httpx
import uritemplate
from jsonpointer import JsonPointer, JsonPointerException

from service.errors import SetupError
from service.notifications.carriers.detail import detail
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Unreachable
from service.notifications.carriers.web_request import ask

_PLACEHOLDERS: Final = frozenset({"to", "text", "key"})
_PLACEHOLDER: Final = re.compile(r"\{([A-Za-z_][A-Za-z0-9_]*)\}")
_HEADER_VALUE: Final = re.compile(r"[\x20-\x7e]*")
_HEADER_NAME: Final = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+")
_LONGEST_REF: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class TextGateway:
    """How one text becomes one web request. What may hold a secret is kept out of ``repr``."""

    url: str = field(repr=False)
    method: Literal["GET", "POST", "PUT"] = "POST"
    body: Literal["json", "form", "none"] = "json"
    fields: Mapping[str, str] = field(default_factory=dict, repr=False)
    headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    timeout_s: float = 10.0
    id_pointer: str | None = None
    """Where a JSON answer keeps the gateway's id of the message (RFC 6901), by which receipts will name it."""
    name: str = "text gateway"
    """What messages about these settings call them."""

    def __post_init__(self) -> None:
        """Refuse what could only fail at night.

        Raises:
            SetupError: the message names the setting, never its value.
        """
        self._check_url()
        self._check_names(f"{self.name} address", uritemplate.URITemplate(self.url).variable_names)
        for name, value in self.fields.items():
            self._check_names(f"{self.name} field {name!r}", _PLACEHOLDER.findall(value))
        for name, value in self.headers.items():
            if not (_HEADER_NAME.fullmatch(name) and _HEADER_VALUE.fullmatch(value)):
                raise SetupError(f"{self.name} header {name!r} has letters that a header cannot carry")
        if self.body == "none" and self.fields:
            raise SetupError(f"{self.name} has fields but no body to put them in")
        if self.method == "GET" and self.body != "none":
            raise SetupError(f"{self.name}: a GET request has no body; set body to none")
        if not self.timeout_s > 0:
            raise SetupError(f"{self.name} time-out must be above 0 seconds")
        try:
            JsonPointer(self.id_pointer or "")
        except JsonPointerException:
            raise SetupError(f"{self.name} id_pointer must be a JSON Pointer, such as /message/id") from None

    def _check_url(self) -> None:
        try:
            parts = urlsplit(self.url)
            whole = parts.scheme in {"http", "https"} and bool(parts.hostname) and "{" not in parts.netloc
            httpx.URL(uritemplate.expand(self.url, to="0", text="0", key="0"))
        except (ValueError, httpx.InvalidURL):
            whole = False
        if not whole:
            raise SetupError(f"{self.name} address must be http:// or https:// with a fixed host")

    @staticmethod
    def _check_names(where: str, names: Any) -> None:
        unknown = sorted(set(names) - _PLACEHOLDERS)
        if unknown:
            raise SetupError(f"{where} has the unknown placeholder {{{unknown[0]}}}; known: to, text, key")

    @property
    def secrets(self) -> tuple[str, ...]:
        """All that an administrator may have put a key into. Whole words of the address count as well."""
        parts = urlsplit(self.url)
        address = [
            parts.username or "",
            parts.password or "",
            *re.split(r"[/&=?{}]", parts.path + "&" + parts.query),
        ]
        literal = [piece for value in self.fields.values() for piece in _PLACEHOLDER.split(value)]
        return (*self.headers.values(), *literal, *address)


class TextCarrier:
    """Sends texts through one gateway with a client that the caller opens and closes."""

    def __init__(self, gateway: TextGateway, client: httpx.AsyncClient) -> None:
        self._gateway = gateway
        self._client = client

    async def carry(self, message: Message) -> Outcome:
        secrets = self._gateway.secrets
        try:
            request = self._request(message)
        except httpx.InvalidURL as trouble:
            return Unreachable(detail=detail(f"{type(trouble).__name__}: {trouble}", secrets))
        answer = await ask(self._client, request, timeout_s=self._gateway.timeout_s, secrets=secrets)
        if isinstance(answer.outcome, Accepted):
            return replace(answer.outcome, ref=_ref(answer.said, self._gateway.id_pointer))
        return answer.outcome

    def _request(self, message: Message) -> httpx.Request:
        gateway = self._gateway
        values: dict[str, Any] = {"to": message.to, "text": message.text, "key": message.key}
        filled = {name: _filled(value, values) for name, value in gateway.fields.items()}
        return self._client.build_request(
            gateway.method,
            uritemplate.expand(gateway.url, values),
            # Texts are hours apart: a connection kept from the last one is the likeliest to have died unseen.
            headers={**gateway.headers, "Idempotency-Key": message.key, "Connection": "close"},
            json=filled if gateway.body == "json" else None,
            data=filled if gateway.body == "form" else None,
            timeout=gateway.timeout_s,
        )


def _ref(said: str, pointer: str | None) -> str | None:
    """The gateway's id. An answer that has none where we look is no reason to doubt the text."""
    if pointer is None:
        return None
    try:
        found = JsonPointer(pointer).resolve(json.loads(said))
    except (ValueError, JsonPointerException, RecursionError):
        return None
    if isinstance(found, bool) or not isinstance(found, str | int):
        return None
    return str(found)[:_LONGEST_REF] or None


def _filled(value: str, values: Mapping[str, str]) -> str:
    """In one pass, so that a text which happens to hold "{key}" is sent as it is."""
    return _PLACEHOLDER.sub(lambda found: values[found[1]], value)
