"""How answers come in by text, from the settings."""

from __future__ import annotations

import re
from contextlib import AsyncExitStack
from typing import Final
from urllib.parse import urlsplit

import httpx
import uritemplate
from jsonpointer import JsonPointer, JsonPointerException

from service.api.inbound import TextHook
from service.api.inbound_proof import Password, Proof, SharedSecret, Signature
from service.errors import SetupError
from service.notifications.carriers.modem import Modem
from service.notifications.modem_inbox import ModemInbox
from service.notifications.polling import PolledGateway, TextPolling
from service.settings import Settings, TextFormSettings, TextInboundSettings, TextPollingSettings
from service.watch.desk import Desk
from service.wire.text_hook import Places

_HEADER_NAME: Final = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+")


def text_hook(settings: TextInboundSettings | None) -> TextHook | None:
    """What answers the gateway's calls; ``None`` where nothing would prove that it is the gateway.

    Raises:
        SetupError: it is set up so that no call could ever be taken.
    """
    secret = None if settings is None or settings.secret is None else settings.secret.get_secret_value()
    if settings is None or not secret:
        return None
    for header in (settings.header, settings.time_header or settings.header):
        if not _HEADER_NAME.fullmatch(header):
            raise SetupError(f"text_inbound: no header can be called {header!r}")
    places = places_of(settings, "text_inbound", form=settings.body == "form")
    return TextHook(proof=_proof(settings, secret), places=places)


def _proof(settings: TextInboundSettings, secret: str) -> Proof:
    if settings.proof == "password":
        return Password(secret=secret)
    if settings.proof == "shared secret":
        return SharedSecret(secret=secret, header=settings.header)
    return Signature(
        secret=secret.encode(),
        header=settings.header,
        encoding=settings.encoding,
        prefix=settings.prefix,
        time_header=settings.time_header,
        tolerance_ms=round(settings.tolerance_s * 1000),
    )


def polled_gateway(settings: TextPollingSettings) -> PolledGateway:
    """The gateway that texts are fetched from.

    Raises:
        SetupError: it is set up so that nothing could ever be fetched.
    """
    for name in ("url", "receipts_url"):
        _check_url(getattr(settings, name), f"text_polling.{name}")
    return PolledGateway(
        url=settings.url,
        receipts_url=settings.receipts_url,
        headers={name: value.get_secret_value() for name, value in settings.headers.items()},
        places=places_of(settings, "text_polling", form=False),
        since=settings.since,
        every_s=settings.every_s,
        timeout_s=settings.timeout_s,
    )


async def text_polling(settings: Settings, desk: Desk, stack: AsyncExitStack) -> TextPolling | None:
    """What fetches texts, where that is set up.

    Raises:
        SetupError: it is set up so that nothing could ever be fetched.
    """
    if settings.text_polling is None:
        return None
    gateway = polled_gateway(settings.text_polling)
    client = await stack.enter_async_context(httpx.AsyncClient())
    return TextPolling(desk=desk, gateway=gateway, client=client)


def texts_come_in(settings: Settings) -> bool:
    """Whether an answer by text can reach us: through a gateway, or by the modem."""
    by_gateway = settings.text_polling is not None or text_hook(settings.text_inbound) is not None
    return by_gateway or by_modem_alone(settings)


def by_modem_alone(settings: Settings) -> bool:
    """Whether texts go out by the modem and nothing else: only then do answers surely come to its number."""
    return settings.modem is not None and settings.modem.receive and settings.text_gateway is None


def modem_inbox(settings: Settings, desk: Desk, modem: Modem | None) -> ModemInbox | None:
    """What reads the modem, where that is set up."""
    if modem is None or settings.modem is None or not settings.modem.receive:
        return None
    return ModemInbox(desk=desk, modem=modem)


def places_of(settings: TextFormSettings, name: str, *, form: bool) -> Places:
    """Where in the gateway's messages what is found.

    Raises:
        SetupError: a place is no JSON Pointer.
    """
    if not form:
        for place in ("each", "sender", "text", "id", "time", "receipt_id", "receipt_status"):
            _check_pointer(getattr(settings, place), f"{name}.{place}")
    return Places(
        form=form,
        each=settings.each,
        sender=settings.sender,
        text=settings.text,
        id=settings.id,
        time=settings.time,
        time_form=settings.time_form,
        receipt_id=settings.receipt_id,
        receipt_status=settings.receipt_status,
        receipts=settings.receipts,
    )


def hosts(settings: Settings) -> list[str]:
    """Under which further names we may be called: those that are set, and that of the public address."""
    public = urlsplit(settings.public_url or "").hostname
    return [*settings.known_as, *([public] if public else [])]


def _check_pointer(pointer: str | None, name: str) -> None:
    try:
        JsonPointer(pointer or "")
    except JsonPointerException as error:
        raise SetupError(f"{name}: {pointer!r} is no JSON Pointer, which begins with a slash") from error


def _check_url(url: str | None, name: str) -> None:
    if url is None:
        return
    try:
        parts = urlsplit(url)
        whole = parts.scheme in {"http", "https"} and bool(parts.hostname) and "{" not in parts.netloc
        httpx.URL(uritemplate.expand(url, since="0"))
    except (ValueError, httpx.InvalidURL):
        whole = False
    if not whole:
        raise SetupError(f"{name} must be http:// or https:// with a fixed host")
    unknown = sorted(set(uritemplate.URITemplate(url).variable_names) - {"since"})
    if unknown:
        raise SetupError(f"{name} has the unknown placeholder {{{unknown[0]}}}; known: since")
