"""Messages as the broker brings them to the invented farm of ``farmyard``, decoded."""

from __future__ import annotations

from typing import Any, Final

from rules.model import SECOND_MS, Instant
from service.messages import Decoded, Incoming
from service.wire.decode import decode
from tests.support.farmyard import NOW_MS

FARM_ID: Final = 1
AT_MS: Final = NOW_MS - 2 * SECOND_MS


def message(
    topic: str, payload: str | bytes, *, received_ms: Instant = NOW_MS, **marks: Any
) -> tuple[Incoming, Decoded]:
    """What came on a topic below the farm's own."""
    raw = payload if isinstance(payload, bytes) else payload.encode()
    incoming = Incoming(topic=f"houseband/tansy/{topic}", payload=raw, received_ms=received_ms, **marks)
    return incoming, decode(incoming, prefix="houseband", farm="tansy")


def pack(value: float, *, at_ms: Instant, probe: str, quantity: str = "humidity", unit: str = "%RH") -> str:
    """A SenML pack of one timed record."""
    return f'[{{"bn": "{probe}/", "n": "{quantity}", "u": "{unit}", "v": {value}, "t": {at_ms / 1000}}}]'


def timed(
    value: float, *, at_ms: Instant = AT_MS, probe: str = "p1", received_ms: Instant = NOW_MS
) -> tuple[Incoming, Decoded]:
    """A humidity with the time at which it was measured."""
    return message(probe, pack(value, at_ms=at_ms, probe=probe), received_ms=received_ms)


def untimed(value: float, *, received_ms: Instant = NOW_MS, **marks: Any) -> tuple[Incoming, Decoded]:
    """A humidity as a bare number."""
    return message("p1/humidity", str(value), received_ms=received_ms, **marks)
