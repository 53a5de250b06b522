"""Properties of moist air, all taken from PsychroLib (ASHRAE Handbook, Fundamentals 2017, chapter 1).

Saturation pressure is read from PsychroLib once on a fine grid and interpolated, because the rooms ask
for it some hundred thousand times when a night is made in seconds. The tests hold the grid to PsychroLib.
Below 0 C PsychroLib, like ASHRAE, means saturation over ice.
"""

from __future__ import annotations

from typing import Final

import psychrolib

psychrolib.SetUnitSystem(psychrolib.SI)

DRY_AIR_J_KG_K: Final = 1006.0
VAPOUR_J_KG_K: Final = 1860.0
WATER_J_KG_K: Final = 4186.0
VAPORISING_AT_0C_J_KG: Final = 2_501_000.0
"""The constants of the enthalpy formula in ASHRAE Fundamentals chapter 1, as PsychroLib uses them."""

MASS_RATIO: Final = 0.621945
"""Molar mass of water over that of dry air (ASHRAE Fundamentals 2017, chapter 1, equation 20)."""

_COLDEST_C: Final = -60.0
_WARMEST_C: Final = 90.0
_STEPS_PER_K: Final = 10
_GRID_PA: Final = tuple(
    float(psychrolib.GetSatVapPres(_COLDEST_C + step / _STEPS_PER_K))
    for step in range(int((_WARMEST_C - _COLDEST_C) * _STEPS_PER_K) + 2)
)


def pressure_pa(altitude_m: float) -> float:
    """Standard air pressure at an altitude."""
    return float(psychrolib.GetStandardAtmPressure(altitude_m))


def saturation_pa(temperature_c: float) -> float:
    """Water vapour pressure of saturated air."""
    if not _COLDEST_C <= temperature_c <= _WARMEST_C:
        raise ValueError(f"no room or weather has air at {temperature_c} C")
    place = (temperature_c - _COLDEST_C) * _STEPS_PER_K
    index = int(place)
    low = _GRID_PA[index]
    return low + (place - index) * (_GRID_PA[index + 1] - low)


def saturation_ratio(temperature_c: float, pressure_pa: float) -> float:
    """Kilograms of vapour per kilogram of dry air in saturated air."""
    vapour_pa = saturation_pa(temperature_c)
    return MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)


def ratio_from_humidity(temperature_c: float, humidity_pct: float, pressure_pa: float) -> float:
    """Humidity ratio (kg/kg dry air) of air at a temperature and relative humidity."""
    vapour_pa = saturation_pa(temperature_c) * humidity_pct / 100
    return MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)


def humidity_pct(temperature_c: float, ratio: float, pressure_pa: float) -> float:
    """Relative humidity of air; above 100 where it holds fog."""
    return 100 * pressure_pa * ratio / (MASS_RATIO + ratio) / saturation_pa(temperature_c)


def dry_air_kg(volume_m3: float, temperature_c: float, pressure_pa: float) -> float:
    """Dry air in a volume of half-wet air: what a room is taken to hold at its target temperature."""
    ratio = ratio_from_humidity(temperature_c, 50.0, pressure_pa)
    return volume_m3 / float(psychrolib.GetMoistAirVolume(temperature_c, ratio, pressure_pa))


def vaporising_j_kg(air_c: float, water_c: float) -> float:
    """Heat that one kilogram of water takes to leave for the air as vapour."""
    return VAPORISING_AT_0C_J_KG + VAPOUR_J_KG_K * air_c - WATER_J_KG_K * water_c
