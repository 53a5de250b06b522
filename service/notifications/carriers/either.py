"""A text by the first of two ways, and by the second at once when the first fails in a way the second could mend.

Power and internet fail together, so a farm with a gateway and a modem must not wait for the gateway to be tried
again. What the gateway said about the message itself, such as that there is no such number, a modem cannot mend.

A gateway that gave no answer may have taken the text all the same; then it comes twice. Once too often wakes
nobody who was not to be woken.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from service.notifications.carriers.detail import detail
from service.notifications.carriers.message import Carrier, Message
from service.notifications.carriers.outcome import Accepted, Failure, Outcome, Refused, Unreachable

_PASSING: Final = frozenset({408, 425, 429, *range(500, 600)})
_NOT_THE_MESSAGE: Final = frozenset({*range(300, 400), 401, 402, 403, 407})
"""A page that asks to sign in to the network (a redirect), a key, or credit: nothing that the message did."""


class Either:
    """Two ways for the same message."""

    def __init__(self, first: Carrier, second: Carrier) -> None:
        self._first = first
        self._second = second

    async def carry(self, message: Message) -> Outcome:
        outcome = await self._first.carry(message)
        if isinstance(outcome, Accepted) or not _another_way_may_mend(outcome):
            return outcome
        other = await self._second.carry(message)
        if isinstance(other, Accepted):
            return replace(other, detail=detail(f"{other.detail}; gateway failed: {outcome.detail}"))
        said = detail(f"gateway: {outcome.detail[:90]}; {other.detail}")
        return replace(outcome if _passing(outcome) else other, detail=said)


def _another_way_may_mend(outcome: Failure) -> bool:
    return _passing(outcome) or (
        isinstance(outcome, Refused) and outcome.protocol == "http" and outcome.status in _NOT_THE_MESSAGE
    )


def _passing(outcome: Failure) -> bool:
    """Worth trying again by itself: the pair then is as well."""
    if isinstance(outcome, Unreachable):
        return True
    return outcome.protocol == "http" and outcome.status in _PASSING
