"""What a carrier is given to carry: one message to one person by one way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from rules.model import Instant
from service.notifications.carriers.outcome import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """Rendered and ready. A carrier uses the parts that its way can show."""

    to: str
    """A phone number in E.164 form, or one or more mail addresses separated by commas."""
    text: str
    key: str
    """The same for every attempt at this telling, so that a receiver can drop what it has already had."""
    at_ms: Instant
    """When this attempt is made."""
    subject: str = ""
    html: str | None = None


class Carrier(Protocol):
    """One way to tell a person."""

    async def carry(self, message: Message) -> Outcome:
        """Hand the message over and say what became of it. Trouble on the way is an outcome, not an error."""
        ...
