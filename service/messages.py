"""What passes between the wire and the record: a message as it came, and what it was understood to say."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rules.model import Instant, ProbeId, Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Incoming:
    """One message as it came off the wire, before anything is believed about it."""

    topic: str
    payload: bytes
    received_ms: Instant
    content_type: str | None = None
    retained: bool = False
    duplicate: bool = False
    """The sender's "I may have sent this before" mark (MQTT DUP)."""
    qos: int = 1


class Reason(StrEnum):
    """Why a message, or one value in it, could not be used. The words are shown to people."""

    TOPIC = "topic not understood"
    NAME = "name not understood"
    EMPTY = "empty message"
    NOT_TEXT = "not readable as text"
    NOT_A_NUMBER = "not a number"
    NOT_FINITE = "not a finite number"
    NOT_JSON = "not readable as JSON"
    PACK = "SenML pack not understood"
    PACK_VERSION = "SenML version not understood"
    QUANTITY = "quantity not known"
    UNIT = "unit not known for this quantity"
    SENTINEL = "a value probes send when they fail"
    IMPOSSIBLE = "value not possible"
    TIME_AHEAD = "time is ahead of ours"
    CLOCK_WRONG = "heard, clock wrong"
    TIME_RANGE = "time cannot be stored"
    MISSING = "value missing"
    RETAINED = "kept by the broker, age unknown"
    DIFFERS = "differs from stored"
    TOO_LARGE = "message too large"
    TOO_MANY_WAITING = "too many probes waiting to be placed"
    NOT_STORED = "could not be stored"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A message, or a value of one, that was not understood. Kept with its bytes, counted, shown."""

    reason: Reason
    detail: str
    probe: ProbeId | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """One reading taken from a message."""

    reading: Reading
    timed: bool
    """True when the message carried the time measured; otherwise the time received stands in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """All that one message was understood to say. Good and bad values of one pack stand side by side."""

    understood: tuple[Understood, ...] = ()
    rejected: tuple[Rejected, ...] = ()
    heard: frozenset[ProbeId] = frozenset()
    """Probes that this message proves to exist, whether or not a value could be used."""
    oddities: tuple[str, ...] = ()
    """Things accepted but worth counting, such as "ppm without bver 26"."""
    gateway: str | None = None
    """Through which gateway the probes were heard, where the topic says so."""
