"""From settings to carriers."""

from __future__ import annotations

from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest
from pydantic import SecretStr

from service.app.ways import make_carriers, set_up
from service.errors import SetupError
from service.notifications.carriers.either import Either
from service.notifications.carriers.modem import Modem
from service.notifications.carriers.text import TextCarrier
from service.notifications.routing import Way
from service.settings import (
    LampSettings,
    MailSettings,
    ModemSettings,
    Settings,
    TextGatewaySettings,
    WebhookSettings,
    WideSettings,
)

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")]

GATEWAY = TextGatewaySettings(url="https://texts.example.org/", id_pointer="/id")
MODEM = ModemSettings(device=Path("/dev/ttyUSB9"))
EVERYTHING: dict[str, Any] = {
    "text_gateway": GATEWAY,
    "modem": MODEM,
    "voice_gateway": GATEWAY,
    "mail": MailSettings(host="mail.example.org", sender="farm@example.org"),
    "webhook": WebhookSettings(url=SecretStr("https://x.example.org/"), secret=SecretStr("a" * 16)),
    "broker_host": "127.0.0.1",
    "lamp": LampSettings(topic="yard/lamp", danger_topic="yard/siren", on="1", off="0", retained=True),
    "wide": WideSettings(urls=[SecretStr("json://example.org/")]),
}


async def made(**given: Any) -> dict[Way, Any]:
    settings = Settings(**given)
    async with AsyncExitStack() as stack:
        carriers = await make_carriers(settings, stack)
    assert set(carriers) == set_up(settings)
    return dict(carriers)


async def test_every_way_that_is_set_has_a_carrier_and_no_other() -> None:
    assert set(await made(**EVERYTHING)) == set(Way)
    assert await made() == {}
    assert await made(wide=WideSettings()) == {}


@pytest.mark.parametrize(
    ("given", "kind"),
    [
        ({"text_gateway": GATEWAY}, TextCarrier),
        ({"modem": MODEM}, Modem),
        ({"text_gateway": GATEWAY, "modem": MODEM}, Either),
    ],
)
async def test_texts_go_by_what_there_is(given: dict[str, Any], kind: type) -> None:
    assert isinstance((await made(**given))[Way.TEXT], kind)


@pytest.mark.parametrize(
    "given",
    [
        {"lamp": EVERYTHING["lamp"]},
        {"modem": ModemSettings(device=Path("/dev/ttyUSB9"), speed=1234)},
        {"voice_gateway": TextGatewaySettings(url="https://{to}/")},
        {"webhook": WebhookSettings(url=SecretStr("https://x.example.org/"), secret=SecretStr("short"))},
        {"wide": WideSettings(urls=[SecretStr("file:///etc/hostname")])},
        {"wide": WideSettings(urls=[SecretStr("json://localhost/")])},
    ],
)
async def test_what_could_only_fail_at_night_stops_the_start(given: dict[str, Any]) -> None:
    with pytest.raises(SetupError):
        await made(**given)
