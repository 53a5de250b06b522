"""Invented outside air: a late-autumn valley with cold, dry nights.

Weather is a pure function of time and seed, so past and live readings of one run belong together and
two runs with one seed agree. The wander is a sum of slow waves with seeded phases: smooth, never steppy.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import Final

from simulator import air

DAY_S: Final = 86_400
_WARMEST_HOUR: Final = 14.5
_WAVE_HOURS: Final = (41.0, 17.0, 7.3, 2.9, 0.9)
_WAVE_WEIGHTS: Final = (0.45, 0.3, 0.15, 0.07, 0.03)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutsideAir:
    """Air at one moment; ``ratio`` is kilograms of vapour per kilogram of dry air."""

    temperature_c: float
    ratio: float
    co2_ppm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """What the invented place is like at this season."""

    mean_c: float
    day_swing_c: float
    wander_c: float
    mean_dew_point_c: float
    wander_dew_point_c: float
    co2_ppm: float
    sun_offset_s: int
    """Seconds that the place's standard time is ahead of UTC: the sun knows no summer time."""


class Wander:
    """A smooth wandering value between about -1 and 1."""

    def __init__(self, seed: str) -> None:
        dice = random.Random(seed)
        self._waves = [
            (weight, 2 * math.pi / (hours * 3600), dice.uniform(0, 2 * math.pi))
            for hours, weight in zip(_WAVE_HOURS, _WAVE_WEIGHTS, strict=True)
        ]

    def at(self, seconds: float) -> float:
        return sum(weight * math.sin(rate * seconds + phase) for weight, rate, phase in self._waves)


class Weather:
    """Outside air of a climate at any moment."""

    def __init__(self, climate: Climate, pressure_pa: float, seed: int) -> None:
        self._climate = climate
        self._pressure_pa = pressure_pa
        self._warmth = Wander(f"{seed}:warmth")
        self._moisture = Wander(f"{seed}:moisture")

    def at(self, at_ms: int) -> OutsideAir:
        seconds = at_ms / 1000
        climate = self._climate
        hour = ((seconds + climate.sun_offset_s) % DAY_S) / 3600
        swing = math.cos((hour - _WARMEST_HOUR) / 12 * math.pi)
        temperature_c = climate.mean_c + climate.day_swing_c * swing + climate.wander_c * self._warmth.at(seconds)
        dew_point_c = climate.mean_dew_point_c + climate.wander_dew_point_c * self._moisture.at(seconds)
        return OutsideAir(
            temperature_c=temperature_c,
            ratio=air.saturation_ratio(min(dew_point_c, temperature_c - 0.5), self._pressure_pa),
            co2_ppm=climate.co2_ppm - 8 * swing,
        )


def second_of_day(at_ms: int, sun_offset_s: int) -> int:
    """Seconds since midnight in the place's standard time."""
    return (at_ms // 1000 + sun_offset_s) % DAY_S
