"""Whether people and machines can be told, way by way."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Callable
from typing import Final

from service.app.finding import Finding
from service.app.ways import lamp_topic, mail_server, make_modem, text_gateway, webhook_receiver, wide_targets
from service.errors import SetupError
from service.notifications.carriers.wide import WideCarrier
from service.settings import Settings

_WEAK: Final = 8
"""Of 31; below it texts begin to be lost (common practice: -97 dBm is called weak)."""


async def check_ways(settings: Settings) -> AsyncGenerator[Finding]:
    """Look at every way that is set, and try what can be tried without telling anybody."""
    yield _text(settings)
    if settings.modem is not None:
        yield await _modem(settings)
    yield _mail(settings)
    for finding in (_voice(settings), _webhook(settings), _lamp(settings), await _wide(settings)):
        if finding is not None:
            yield finding


def _text(settings: Settings) -> Finding:
    gateway = settings.text_gateway
    if gateway is None and settings.modem is not None:
        return Finding(subject="texts", says="by the modem alone")
    if gateway is None:
        says = "no text gateway and no modem is set: nobody can be woken by text"
        return Finding(subject="texts", says=says, would_lose=True)
    beside = "; the modem takes over when it fails" if settings.modem is not None else ""
    says = f"a gateway is set, and not tried here: whether texts come, only a text shows{beside}"
    return _made("texts", lambda: text_gateway(gateway), says)


async def _modem(settings: Settings) -> Finding:
    try:
        modem = make_modem(settings)
        if modem is None:
            raise SetupError("none is set")  # noqa: TRY301 - said like any other trouble
        standing = await modem.look()
    except SetupError as error:
        return Finding(subject="modem", says=str(error), would_lose=True)
    if not standing.network:
        return Finding(subject="modem", says="answers, and has no network", would_lose=True)
    if standing.signal is None or standing.signal < _WEAK:
        signal = "not known" if standing.signal is None else f"{standing.signal} of 31, which is weak"
        return Finding(subject="modem", says=f"in the network, signal {signal}; no text was sent")
    return Finding(subject="modem", says=f"in the network, signal {standing.signal} of 31; no text was sent")


def _mail(settings: Settings) -> Finding:
    mail = settings.mail
    if mail is None:
        return Finding(subject="mail", says="no mail server is set: no morning sheet by mail")
    return _made("mail", lambda: mail_server(mail), f"through {mail.host}")


def _voice(settings: Settings) -> Finding | None:
    voice = settings.voice_gateway
    if voice is None:
        return None
    return _made("calls", lambda: text_gateway(voice, "voice gateway"), "a gateway is set, and not tried here")


def _webhook(settings: Settings) -> Finding | None:
    webhook = settings.webhook
    if webhook is None:
        return None
    says = f"a machine is told in {webhook.body.upper()}, and not tried here"
    return _made("webhook", lambda: webhook_receiver(webhook, settings.farm), says)


def _lamp(settings: Settings) -> Finding | None:
    lamp = settings.lamp
    if lamp is None:
        return None
    return _made("lamp", lambda: lamp_topic(settings), f"on {lamp.topic}, and not tried here: it would light up")


async def _wide(settings: Settings) -> Finding | None:
    wide = settings.wide
    if wide is None or not wide.urls:
        return None
    says = f"{len(wide.urls)} addresses understood, and not tried here"
    return await asyncio.to_thread(_made, "wide", lambda: WideCarrier(wide_targets(wide)), says)


def _made(subject: str, make: Callable[[], object], says: str) -> Finding:
    """``says`` if the way can be made from the settings, else why not."""
    try:
        make()
    except SetupError as error:
        return Finding(subject=subject, says=str(error), would_lose=True)
    return Finding(subject=subject, says=says)
