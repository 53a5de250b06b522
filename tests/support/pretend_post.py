"""A carrier that takes everything, or nothing, and remembers what it was given."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome


@dataclass(slots=True, kw_only=True)
class PretendPost:
    """A small fake of any one way."""

    outcome: Outcome = field(default_factory=lambda: Accepted(detail="kept"))
    carried: list[Message] = field(default_factory=list)

    async def carry(self, message: Message) -> Outcome:
        self.carried.append(message)
        return self.outcome

    def to(self) -> list[str]:
        """Whom it was given messages for, in order."""
        return [message.to for message in self.carried]
