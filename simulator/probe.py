"""A probe: it follows the air with a lag, hangs at one place, rounds, and is never quite right."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Final

QUANTITIES: Final = ("temperature", "humidity", "co2")
"""Names on the wire, in the order in which the values of a probe are kept here."""
CEILING: Final = {"temperature": 85.0, "humidity": 100.0, "co2": 10_000.0}
FLOOR: Final = {"temperature": -40.0, "humidity": 0.0, "co2": 0.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sense:
    """How a probe sees one quantity."""

    lag_s: float
    noise: float
    """Standard deviation of what changes from reading to reading."""
    resolution: float
    offset: float = 0.0
    """The place and the maker's error together: what stays."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeSpec:
    """A probe in a room: ``place`` is where in the room, in the crew's words."""

    probe_id: str
    room_id: str
    place: str
    senses: dict[str, Sense]
    phase_s: int = 0
    """When in the minute it measures: probes do not agree on the moment."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One value on its way to the wire."""

    probe_id: str
    quantity: str
    at_ms: int
    value: float


class Probe:
    """A probe at work."""

    def __init__(self, spec: ProbeSpec, seed: int) -> None:
        self.spec = spec
        self._dice = random.Random(f"{seed}:{spec.probe_id}")
        self._jitter_ms = self._dice.randrange(1000)
        self._felt: dict[str, float] = {}
        self._shown: dict[str, float] = {}

    def feel(self, truth: dict[str, float], step_s: float) -> None:
        """Let the air work on the probe for one step."""
        felt = self._felt
        for quantity, sense in self.spec.senses.items():
            value = truth[quantity]
            before = felt.get(quantity, value)
            felt[quantity] = value + (before - value) * math.exp(-step_s / sense.lag_s)

    def due(self, before_ms: int, after_ms: int) -> int | None:
        """The moment of measuring within a step (after the first moment, up to the second)."""
        phase_ms = self.spec.phase_s * 1000 + self._jitter_ms
        minute = (after_ms - phase_ms) // 60_000
        at_ms = minute * 60_000 + phase_ms
        return at_ms if at_ms > before_ms else None

    def measure(self, at_ms: int, *, sticks: bool) -> list[Measured]:
        """All values at one moment; a probe that sticks repeats the last ones."""
        for quantity, sense in self.spec.senses.items():
            noise = self._dice.gauss(0.0, sense.noise)
            if not (sticks and quantity in self._shown):
                self._shown[quantity] = _shown(self._felt[quantity] + sense.offset + noise, quantity, sense)
        return [
            Measured(probe_id=self.spec.probe_id, quantity=quantity, at_ms=at_ms, value=self._shown[quantity])
            for quantity in self.spec.senses
        ]


def _shown(value: float, quantity: str, sense: Sense) -> float:
    bounded = min(CEILING[quantity], max(FLOOR[quantity], value))
    return round(round(bounded / sense.resolution) * sense.resolution, 3)
