"""The ways to tell people, from the settings."""

from __future__ import annotations

import asyncio
from contextlib import AsyncExitStack

import httpx

from rules.model import MINUTE_MS
from service.errors import SetupError
from service.notifications.carriers.either import Either
from service.notifications.carriers.lamp import LampCarrier, LampTopic
from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.carriers.message import Carrier
from service.notifications.carriers.modem import Modem, ModemLine
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.notifications.carriers.voice import VoiceCarrier
from service.notifications.carriers.webhook import Receiver, WebhookCarrier
from service.notifications.carriers.wide import Targets, WideCarrier
from service.notifications.routing import Way
from service.settings import MailSettings, Settings, TextGatewaySettings, WebhookSettings, WideSettings


def set_up(settings: Settings) -> frozenset[Way]:
    """The ways that the settings name."""
    named = {
        Way.TEXT: settings.text_gateway or settings.modem,
        Way.VOICE: settings.voice_gateway,
        Way.MAIL: settings.mail,
        Way.WEBHOOK: settings.webhook,
        Way.LAMP: settings.lamp,
        Way.WIDE: settings.wide and settings.wide.urls,
    }
    return frozenset(way for way, setting in named.items() if setting)


async def make_carriers(
    settings: Settings, stack: AsyncExitStack, *, modem: Modem | None = None
) -> dict[Way, Carrier]:
    """A carrier for every way that is set up; ``modem`` is the one that texts are also read from.

    Raises:
        SetupError: a way is set up so that it could only fail at night.
    """
    client = await stack.enter_async_context(httpx.AsyncClient())
    carriers: dict[Way, Carrier | None] = {
        Way.TEXT: _text(settings, client, modem),
        Way.VOICE: _voice(settings, client),
        Way.MAIL: None if settings.mail is None else MailCarrier(mail_server(settings.mail)),
        Way.WEBHOOK: _webhook(settings, client),
        Way.LAMP: None if settings.lamp is None else LampCarrier(lamp_topic(settings)),
        Way.WIDE: await _wide(settings),
    }
    return {way: carrier for way, carrier in carriers.items() if carrier is not None}


def make_modem(settings: Settings) -> Modem | None:
    """The modem, if there is one."""
    modem = settings.modem
    if modem is None:
        return None
    line = ModemLine(
        device=modem.device,
        speed=modem.speed,
        timeout_s=modem.timeout_s,
        valid_ms=modem.valid_min * MINUTE_MS,
    )
    return Modem(line)


def text_gateway(settings: TextGatewaySettings, name: str = "text gateway") -> TextGateway:
    """A gateway for texts or calls as the carrier wants it."""
    return TextGateway(
        url=settings.url,
        method=settings.method,
        body=settings.body,
        fields=settings.fields,
        headers={name: value.get_secret_value() for name, value in settings.headers.items()},
        timeout_s=settings.timeout_s,
        id_pointer=settings.id_pointer,
        name=name,
    )


def webhook_receiver(settings: WebhookSettings, farm: str) -> Receiver:
    """The machine that is told, as the carrier wants it."""
    return Receiver(
        url=settings.url.get_secret_value(),
        secret=settings.secret.get_secret_value(),
        sender=farm,
        body=settings.body,
        timeout_s=settings.timeout_s,
    )


def lamp_topic(settings: Settings) -> LampTopic:
    """The lamp as the carrier wants it.

    Raises:
        SetupError: there is a lamp and no broker.
    """
    lamp = settings.lamp
    if lamp is None or settings.broker_host is None:
        raise SetupError("a lamp listens at the broker, and no broker_host is set")
    password = settings.broker_password
    return LampTopic(
        host=settings.broker_host,
        port=settings.broker_port,
        username=settings.broker_username,
        password=None if password is None else password.get_secret_value(),
        tls=settings.broker_tls,
        **lamp.model_dump(),
    )


def wide_targets(settings: WideSettings) -> Targets:
    """The wide addresses as the carrier wants them."""
    return Targets(
        urls=[url.get_secret_value() for url in settings.urls],
        schemes=frozenset(scheme.lower() for scheme in settings.schemes),
        hosts_inside=frozenset(host.lower() for host in settings.hosts_inside),
        timeout_s=settings.timeout_s,
    )


def _text(settings: Settings, client: httpx.AsyncClient, modem: Modem | None) -> Carrier | None:
    """By gateway, by modem, or by the modem when the gateway fails."""
    modem = modem or make_modem(settings)
    if settings.text_gateway is None:
        return modem
    gateway = TextCarrier(text_gateway(settings.text_gateway), client)
    return gateway if modem is None else Either(gateway, modem)


def _voice(settings: Settings, client: httpx.AsyncClient) -> Carrier | None:
    if settings.voice_gateway is None:
        return None
    return VoiceCarrier(text_gateway(settings.voice_gateway, "voice gateway"), client)


def _webhook(settings: Settings, client: httpx.AsyncClient) -> Carrier | None:
    if settings.webhook is None:
        return None
    return WebhookCarrier(webhook_receiver(settings.webhook, settings.farm), client)


async def _wide(settings: Settings) -> Carrier | None:
    """The library takes its time to load, so it does that beside everything else."""
    if settings.wide is None or not settings.wide.urls:
        return None
    return await asyncio.to_thread(WideCarrier, wide_targets(settings.wide))


def mail_server(settings: MailSettings) -> MailServer:
    """The mail server as the carrier wants it."""
    return MailServer(
        host=settings.host,
        port=settings.port,
        sender=settings.sender,
        security=settings.security,
        username=settings.username,
        password=None if settings.password is None else settings.password.get_secret_value(),
        timeout_s=settings.timeout_s,
    )
