"""What a carrier is given to carry: one message to one person, or to the whole farm, by one way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from rules.model import Instant
from service.notifications.carriers.outcome import Outcome
from service.wording.language import Language


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """Rendered and ready. A carrier uses the parts that its way can show."""

    to: str
    """A phone number in E.164 form, or mail addresses with commas between; empty for the whole farm."""
    text: str
    key: str
    """The same for every attempt at this telling, so that a receiver can drop what it has already had."""
    at_ms: Instant
    """When this attempt is made."""
    subject: str = ""
    html: str | None = None
    image: bytes | None = None
    """A PNG of the room's last hours."""
    image_alt: str = ""
    """The same in words, for those who do not see it."""
    kind: str = ""
    """What the notice is: ``trouble``, ``back``, ``danger``, ``trial`` and so on."""
    facts: Mapping[str, Any] | None = None
    """The notice's facts, for machines and for what a way says in its own form."""
    language: Language = "en"


class Carrier(Protocol):
    """One way to tell a person."""

    async def carry(self, message: Message) -> Outcome:
        """Hand the message over and say what became of it. Trouble on the way is an outcome, not an error."""
        ...
