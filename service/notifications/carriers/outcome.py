"""What became of one attempt to tell somebody. Values only: deciding what follows is ``retry``'s work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Protocol = Literal["http", "smtp", "at", "mqtt"]
"""Whose numbers a status is from: 550 means for ever in mail, 503 means later on the web.

``at`` is a modem's +CMS ERROR (3GPP TS 27.005) and ``mqtt`` a reason code (MQTT 5 section 2.4).
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepted:
    """The next hop has taken it over. That is not yet a person who has read it."""

    detail: str
    refused: tuple[str, ...] = ()
    """Addresses that were refused while at least one other was accepted, each with the reason."""
    ref: str | None = None
    """The next hop's own name for the message, by which its receipts will speak of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """The next hop answered, and the answer was no."""

    protocol: Protocol
    status: int
    detail: str
    retry_after_ms: int | None = None
    """How long the next hop asked us to wait, if it did."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unreachable:
    """No answer: not connected, cut off, or too slow. It may or may not have been taken over."""

    detail: str
    retry_after_ms: int | None = None


Outcome: TypeAlias = Accepted | Refused | Unreachable
Failure: TypeAlias = Refused | Unreachable
