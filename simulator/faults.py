"""Faults on demand: what breaks, where, from when until when."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final


class FaultKind(StrEnum):
    """What can go wrong; each names a room, except ``probe``, which names a probe."""

    HUMIDIFIER = "humidifier"
    FAN = "fan"
    HEATER = "heater"
    DOOR = "door"
    PROBE = "probe"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault; without an end it lasts until it is ended."""

    kind: FaultKind
    target: str
    start_ms: int
    end_ms: int | None = None

    def holds_at(self, at_ms: int) -> bool:
        return self.start_ms <= at_ms and (self.end_ms is None or at_ms < self.end_ms)


class FaultBook:
    """Faults of a run. Written by the control page, read by the stepping loop: two threads."""

    def __init__(self, faults: tuple[Fault, ...] = ()) -> None:
        self._lock = threading.Lock()
        self._faults = faults

    def add(self, fault: Fault) -> None:
        with self._lock:
            self._faults = (*self._faults, fault)

    def end(self, kind: FaultKind, target: str, at_ms: int) -> int:
        """End what is going on; returns how many faults that were."""
        with self._lock:
            going = [f for f in self._faults if (f.kind, f.target) == (kind, target) and f.holds_at(at_ms)]
            self._faults = tuple(replace(f, end_ms=at_ms) if f in going else f for f in self._faults)
        return len(going)

    def all(self) -> tuple[Fault, ...]:
        return self._faults

    def going_at(self, at_ms: int) -> frozenset[tuple[FaultKind, str]]:
        return frozenset((f.kind, f.target) for f in self._faults if f.holds_at(at_ms))


_SPELLING: Final = re.compile(
    r"(?P<kind>[a-z]+):(?P<target>[A-Za-z0-9-]+)"
    r"@(?P<when>now|[+-]\d+(?:\.\d+)?(?:s|min|h))"
    r"(?:/(?P<lasts>\d+(?:\.\d+)?(?:s|min|h)))?"
)
_UNIT_MS: Final = {"s": 1000, "min": 60_000, "h": 3_600_000}


def parse_fault(spelling: str, *, from_ms: int) -> Fault:
    """Read ``humidifier:house-1@+20min/50min``: kind, target, when (from ``from_ms``), how long if known."""
    match = _SPELLING.fullmatch(spelling)
    kinds = [kind.value for kind in FaultKind]
    if match is None or match["kind"] not in kinds:
        raise ValueError(
            f"cannot read the fault {spelling!r}: write kind:room@+20min or kind:room@+20min/50min, "
            f"with one of {', '.join(kinds)}, units s, min or h, or @now"
        )
    start_ms = from_ms if match["when"] == "now" else from_ms + _milliseconds(match["when"])
    lasts = match["lasts"]
    end_ms = None if lasts is None else start_ms + _milliseconds(lasts)
    return Fault(kind=FaultKind(match["kind"]), target=match["target"], start_ms=start_ms, end_ms=end_ms)


def _milliseconds(length: str) -> int:
    number, unit = re.fullmatch(r"([+-]?[\d.]+)(s|min|h)", length).groups()  # type: ignore[union-attr]
    return round(float(number) * _UNIT_MS[unit])
