"""How much a room dried what stood in it, and how long it was close to saturation.

The *drying dose* is drying power times time, in kPa.h: 0.1 kPa for 5 hours is 0.5. Temperature and humidity are
held together (:mod:`rules.holding`): the power is known while both are, it changes whenever either does, and the
sum over those pieces is exact for readings at any moments. Time without both is unknown and adds nothing, so the
dose says for how much of the span it speaks.

Each probe's humidity goes with its own temperature, since saturation at another place is another; so a probe that
is warmer than the air has its error in both (:func:`rules.drying.humidity_of_air_percent`). A probe that measures
humidity alone borrows the middle between the coldest and the warmest probe of the room. The room dries as its
driest place does: of several probes the highest power counts at each moment. For the hours close to saturation it
is as wet as its wettest.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rules.derive import vapour_pressure_deficit_kpa
from rules.holding import Change, Step, room_steps, spoken
from rules.model import HOUR_MS, Instant, Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """Drying power added up over a span."""

    from_ms: Instant
    to_ms: Instant
    kpa_h: float
    low_kpa_h: float
    """If the probes had shown too little humidity all the time, by their accuracy."""
    high_kpa_h: float
    """If they had shown too much."""
    known_ms: int

    @property
    def coverage(self) -> float:
        """Known share of the span, 0 to 1."""
        return self.known_ms / (self.to_ms - self.from_ms)

    @property
    def mean_kpa(self) -> float | None:
        """The mean drying power of the known time; ``None`` if nothing is known."""
        return self.kpa_h * HOUR_MS / self.known_ms if self.known_ms else None


@dataclass(frozen=True, slots=True, kw_only=True)
class NearSaturation:
    """How long the air was at least so humid."""

    from_ms: Instant
    to_ms: Instant
    threshold_percent: float
    near_ms: int
    longest_ms: int
    """The longest unbroken part; a time of which nothing is known breaks it."""
    known_ms: int

    @property
    def hours(self) -> float:
        """Known time at or above the threshold."""
        return self.near_ms / HOUR_MS

    @property
    def coverage(self) -> float:
        """Known share of the span, 0 to 1."""
        return self.known_ms / (self.to_ms - self.from_ms)


def drying_dose(
    temperature: Iterable[Reading],
    humidity: Iterable[Reading],
    *,
    from_ms: Instant,
    to_ms: Instant,
    accuracy_percent: float = 0.0,
) -> Dose:
    """Add up the drying power of one room.

    Args:
        temperature: readings in degC, any order; those before the span tell what held at its beginning.
        humidity: readings in %RH, likewise; above 100 they count as 100, below 0 as 0.
        from_ms: beginning of the span.
        to_ms: its end, exclusive.
        accuracy_percent: how far the probes may be off, in points of humidity, all of them the same way.

    Raises:
        ValueError: the span has no length, readings are of several quantities, or a temperature lies outside the
            range of :mod:`rules.derive`.
    """
    damp, warm = spoken(humidity), spoken(temperature)
    steps = room_steps(warm.values(), from_ms=from_ms, to_ms=to_ms)
    borrowed: list[Change] = [(step.from_ms, _middle(step)) for step in steps]
    pairs = [_pairs(said, warm.get(probe, borrowed), to_ms) for probe, said in damp.items()]
    doses = []
    for off_percent in (0.0, accuracy_percent, -accuracy_percent):
        powers = [_powers(pair, off_percent) for pair in pairs]
        doses.append(_added_up(room_steps(powers, from_ms=from_ms, to_ms=to_ms)))
    (dose, known_ms), (low, _), (high, _) = doses
    return Dose(from_ms=from_ms, to_ms=to_ms, kpa_h=dose, low_kpa_h=low, high_kpa_h=high, known_ms=known_ms)


def near_saturation(
    humidity: Iterable[Reading], *, threshold_percent: float, from_ms: Instant, to_ms: Instant
) -> NearSaturation:
    """Find how long the room's wettest probe showed ``threshold_percent`` or more.

    Raises:
        ValueError: the span has no length, or the readings are of several quantities.
    """
    near_ms = longest_ms = run_ms = known_ms = 0
    for step in room_steps(spoken(humidity).values(), from_ms=from_ms, to_ms=to_ms):
        length_ms = step.to_ms - step.from_ms
        known_ms += 0 if step.highest is None else length_ms
        is_near = step.highest is not None and step.highest >= threshold_percent
        run_ms = run_ms + length_ms if is_near else 0
        near_ms += length_ms if is_near else 0
        longest_ms = max(longest_ms, run_ms)
    return NearSaturation(
        from_ms=from_ms,
        to_ms=to_ms,
        threshold_percent=threshold_percent,
        near_ms=near_ms,
        longest_ms=longest_ms,
        known_ms=known_ms,
    )


def _middle(step: Step) -> float | None:
    """What a probe borrows that measures humidity alone."""
    if step.lowest is None or step.highest is None:
        return None
    return (step.lowest + step.highest) / 2


def _pairs(
    damp: Sequence[Change], warm: Sequence[Change], to_ms: Instant
) -> list[tuple[Instant, float | None, float | None]]:
    """From when on a probe says which temperature and humidity together."""
    changes = sorted(
        [(at_ms, True, value) for at_ms, value in warm] + [(at_ms, False, value) for at_ms, value in damp],
        key=lambda change: change[0],
    )
    temperature: float | None = None
    humidity: float | None = None
    pairs: dict[Instant, tuple[float | None, float | None]] = {}
    for at_ms, is_temperature, value in changes:
        if at_ms >= to_ms:
            break
        if is_temperature:
            temperature = value
        else:
            humidity = value
        pairs[at_ms] = (temperature, humidity)
    return [(at_ms, *pair) for at_ms, pair in pairs.items()]


def _powers(
    pairs: Sequence[tuple[Instant, float | None, float | None]], off_percent: float
) -> list[tuple[Instant, float | None]]:
    """Drying power from the same moments on, if the air were more humid than shown by ``off_percent``."""
    both = [(t, h) for _, t, h in pairs if t is not None and h is not None]
    temperature, humidity = np.asarray(both, dtype=np.float64).reshape(-1, 2).T
    powers = iter(vapour_pressure_deficit_kpa(temperature, np.clip(humidity + off_percent, 0.0, 100.0)).tolist())
    return [(at_ms, None if t is None or h is None else next(powers)) for at_ms, t, h in pairs]


def _added_up(steps: Sequence[Step]) -> tuple[float, int]:
    """kPa.h, and for how long the power was known."""
    known = [(step.to_ms - step.from_ms, step.highest) for step in steps if step.highest is not None]
    return math.fsum(length * power for length, power in known) / HOUR_MS, sum(length for length, _ in known)
