"""A call by an HTTP gateway that speaks a text: the text gateway's carrier, with words made for the ear."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import httpx

from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Outcome
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.wording.speakable import spoken

_DANGER: Final = "danger"
_SENDS_NOBODY: Final = frozenset({"taken", "came out", "summary", "trial"})
"""What tells nobody of a room to go to."""
_NAMES: Final = ("room", "person", "name")


class VoiceCarrier:
    """Calls people through one gateway."""

    def __init__(self, gateway: TextGateway, client: httpx.AsyncClient) -> None:
        self._carrier = TextCarrier(gateway, client)

    async def carry(self, message: Message) -> Outcome:
        facts = message.facts or {}
        names = [name for key in _NAMES if isinstance(name := facts.get(key), str)]
        text = spoken(
            message.text,
            message.language,
            danger=message.kind == _DANGER,
            sends_nobody=message.kind in _SENDS_NOBODY,
            names=names,
        )
        return await self._carrier.carry(replace(message, text=text))
