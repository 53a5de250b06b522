"""The ways to tell people, from the settings."""

from __future__ import annotations

from contextlib import AsyncExitStack

import httpx

from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.carriers.message import Carrier
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.notifications.routing import Way
from service.settings import MailSettings, Settings, TextGatewaySettings


def set_up(settings: Settings) -> frozenset[Way]:
    """The ways that the settings name."""
    named = {Way.TEXT: settings.text_gateway, Way.MAIL: settings.mail}
    return frozenset(way for way, setting in named.items() if setting is not None)


async def make_carriers(settings: Settings, stack: AsyncExitStack) -> dict[Way, Carrier]:
    """A carrier for every way that is set up.

    Raises:
        SetupError: a way is set up so that it could only fail at night.
    """
    carriers: dict[Way, Carrier] = {}
    if settings.text_gateway is not None:
        client = await stack.enter_async_context(httpx.AsyncClient())
        carriers[Way.TEXT] = TextCarrier(text_gateway(settings.text_gateway), client)
    if settings.mail is not None:
        carriers[Way.MAIL] = MailCarrier(mail_server(settings.mail))
    return carriers


def text_gateway(settings: TextGatewaySettings) -> TextGateway:
    """The text gateway as the carrier wants it."""
    return TextGateway(
        url=settings.url,
        method=settings.method,
        body=settings.body,
        fields=settings.fields,
        headers={name: value.get_secret_value() for name, value in settings.headers.items()},
        timeout_s=settings.timeout_s,
    )


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
