"""How well drying power and dew point are known, from how well the probe knows humidity and temperature.

Drying power is what is missing to saturation, so close to saturation a small error of humidity is most of it: 2
points at 95 %RH are 40 % of the drying power there, and at 98 %RH all of it. A figure without its band would
promise what no probe of a growing room can keep. The dew point suffers far less.

Errors of humidity and temperature are taken as independent and add up as a root of squares. A band is found by
moving one input at a time to the end of its accuracy, humidity no further than to 0 and 100 %RH; so it need not
be even on both sides. Accuracy itself is what the maker states or common practice
(:func:`rules.profile_limits.probe_accuracy`); the arithmetic is that of ``tests/reference/humidity_error.csv``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from rules.derive import dew_point_c, saturation_vapour_pressure_pa, vapour_pressure_deficit_kpa

_NUDGE: Final = 1e-3
"""Kelvins or points of humidity: small enough for a slope to 7 digits, large enough to be far from rounding."""
MOST_DECIMALS: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """How far a probe may be off, either way."""

    humidity_percent: float
    temperature_k: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A figure and its band, in the figure's unit."""

    value: float
    low: float
    high: float
    error: float
    """Half the width of the band where both inputs act evenly (root of squares of the linear terms)."""

    @property
    def decimals(self) -> int:
        """Digits after the point worth showing: the error's first digit is the last one that means anything."""
        if self.error <= 0:
            return MOST_DECIMALS
        return min(max(-math.floor(math.log10(self.error)), 0), MOST_DECIMALS)


def drying_power(temperature_c: float, humidity_percent: float, accuracy: Accuracy) -> Estimate:
    """Vapour pressure deficit in kPa with its band, which never reaches below 0.

    Raises:
        ValueError: a figure lies outside the range of :mod:`rules.derive`, or an accuracy is negative.
    """
    found = _estimate(vapour_pressure_deficit_kpa, temperature_c, humidity_percent, accuracy)
    return Estimate(value=found.value, low=max(found.low, 0.0), high=found.high, error=found.error)


def dew_point(temperature_c: float, humidity_percent: float, accuracy: Accuracy) -> Estimate:
    """Dew point in degC (below 0.01 degC: frost point) with its band.

    Raises:
        ValueError: as :func:`drying_power`; also where the air may be too dry for a dew point.
    """
    return _estimate(dew_point_c, temperature_c, humidity_percent, accuracy)


def humidity_at_warm_probe_percent(temperature_c: float, humidity_percent: float, warmer_by_k: float) -> float:
    """What a probe says that is warmer than the air around it, by its own current or by a lamp: too little.

    The vapour is the same, the saturation is that of the probe's temperature. The dew point worked out from such a
    probe's own temperature and humidity stays right; humidity and drying power do not.

    Args:
        temperature_c: of the air.
        humidity_percent: of the air.
        warmer_by_k: the probe less the air.

    Raises:
        ValueError: a figure lies outside the range of :mod:`rules.derive`, or a cold probe would be wet.
    """
    shown = humidity_percent * _saturation_ratio(temperature_c, temperature_c + warmer_by_k)
    if shown > 100:  # noqa: PLR2004 - saturation
        raise ValueError(f"a probe {-warmer_by_k:g} K colder than this air would be wet")
    return shown


def humidity_of_air_percent(probe_c: float, probe_humidity_percent: float, warmer_by_k: float) -> float:
    """The air's humidity from what a probe says that is warmer than it; 100 where it would come out above.

    Args:
        probe_c: what the probe says is the temperature.
        probe_humidity_percent: what it says is the humidity.
        warmer_by_k: the probe less the air.

    Raises:
        ValueError: a figure lies outside the range of :mod:`rules.derive`.
    """
    return min(probe_humidity_percent * _saturation_ratio(probe_c, probe_c - warmer_by_k), 100.0)


def _saturation_ratio(from_c: float, to_c: float) -> float:
    return saturation_vapour_pressure_pa(from_c) / saturation_vapour_pressure_pa(to_c)


def _estimate(
    figure: Callable[[float, float], float], temperature_c: float, humidity_percent: float, accuracy: Accuracy
) -> Estimate:
    points, kelvins = accuracy.humidity_percent, accuracy.temperature_k
    if not (points >= 0 and kelvins >= 0):
        raise ValueError("an accuracy is at least 0, and a number")
    value = figure(temperature_c, humidity_percent)
    wetter = figure(temperature_c, min(humidity_percent + points, 100.0)) - value
    drier = figure(temperature_c, max(humidity_percent - points, 0.0)) - value
    warmer = figure(temperature_c + kelvins, humidity_percent) - value
    colder = figure(temperature_c - kelvins, humidity_percent) - value
    dryer = max(humidity_percent - _NUDGE, 0.0)  # towards dry, as there is nothing beyond saturation
    per_point = (figure(temperature_c, dryer + _NUDGE) - figure(temperature_c, dryer)) / _NUDGE
    per_kelvin = figure(temperature_c + _NUDGE, humidity_percent) - figure(
        temperature_c - _NUDGE, humidity_percent
    )
    return Estimate(
        value=value,
        low=value - math.hypot(min(wetter, drier), min(warmer, colder)),
        high=value + math.hypot(max(wetter, drier), max(warmer, colder)),
        error=math.hypot(points * per_point, kelvins * per_kelvin / (2 * _NUDGE)),
    )
