"""What temperature, humidity and air pressure say together: dew point, drying power, moisture.

Convention: moist air as an ideal gas, without the enhancement factor that real-gas tables carry. That leaves the
moisture in saturated air, and with it drying power, humidity ratio and absolute humidity, about 0.5 % low
against such tables, always to the same side. The plain equations are those of the charts and wet-bulb tables
that growers have at hand, and 0.5 % is lost beside the probe: one good to 2 points at 95 %RH leaves the drying
power uncertain by 40 % (:mod:`rules.drying`).

Below 0.01 degC saturation is over ice: there the dew point is the frost point, and humidity is taken as relative
to ice. What instruments without a word about frost call a dew point below zero is over water that has not
frozen: :func:`dew_point_over_water_c`, up to some kelvins lower. A wet bulb below 0 degC is an ice bulb.

Every function takes floats, or arrays of one shape; a float may stand in for any argument but the first.
Floats give a float, arrays an array, by the same arithmetic. Temperatures are degC, humidity %RH, pressures Pa
unless the name says otherwise. A value outside the range of the equations, or not finite, raises ``ValueError``
with the quantity and its range.

Equations: Hyland and Wexler (1983), and ASHRAE Handbook Fundamentals (2017) chapter 1, equations 3, 5, 6, 20,
26, 30, 33 and 35 (numbers from memory, the book was not opened); starting guess from WMO-No. 8 (2008) Annex 4.B.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
Measure = TypeVar("Measure", float, NDArray[np.float64])

TEMPERATURE_RANGE_C: Final = (-100.0, 200.0)
"""Where the saturation equations hold, over ice and water together."""
ICE_RANGE_C: Final = (-100.0, 0.01)
WATER_RANGE_C: Final = (-40.0, 200.0)
"""The equation was fitted from 0 degC up; below, water may stay unfrozen and the equation is carried on."""
HUMIDITY_RANGE_PERCENT: Final = (0.0, 100.0)
PRESSURE_RANGE_PA: Final = (20_000.0, 200_000.0)
ALTITUDE_RANGE_M: Final = (-5_000.0, 11_000.0)
"""Where the standard atmosphere's lowest layer holds."""
STANDARD_PRESSURE_PA: Final = 101_325.0

_ZERO_C_IN_K: Final = 273.15
_TRIPLE_POINT_C: Final = 0.01
_MASS_RATIO: Final = 0.621945  # molar mass of water over that of dry air
_DRY_AIR_GAS_J_PER_KG_K: Final = 287.042
_NEWTON_STEPS: Final = 5  # measured: from a guess up to 4 K off, three leave 4e-5 K and four leave 1e-11 K
_HALVINGS: Final = 50  # narrows 300 K to less than 1e-12 K


def saturation_vapour_pressure_pa(temperature_c: Measure) -> Measure:
    """Vapour pressure at 100 %RH, over ice below 0.01 degC and over water from there on."""
    return _as_given(np.exp(_log_saturation(_temperature(temperature_c))), temperature_c)


def saturation_over_water_pa(temperature_c: Measure) -> Measure:
    """Vapour pressure at 100 %RH over water, below 0 degC over water that has not frozen."""
    allowed = _within("temperature over water", temperature_c, WATER_RANGE_C)
    return _as_given(np.exp(_log_over_water(allowed)), temperature_c)


def saturation_over_ice_pa(temperature_c: Measure) -> Measure:
    """Vapour pressure at 100 %RH over ice."""
    allowed = _within("temperature over ice", temperature_c, ICE_RANGE_C)
    return _as_given(np.exp(_log_over_ice(allowed)), temperature_c)


def vapour_pressure_pa(temperature_c: Measure, humidity_percent: Measure | float) -> Measure:
    """Partial pressure of the water vapour in the air."""
    return _as_given(_vapour(temperature_c, humidity_percent), temperature_c)


def vapour_pressure_deficit_kpa(temperature_c: Measure, humidity_percent: Measure | float) -> Measure:
    """Drying power of the air: how far the vapour pressure is below saturation, in kPa."""
    saturation = np.exp(_log_saturation(_temperature(temperature_c)))
    dryness = 1.0 - _humidity(humidity_percent) / 100.0
    return _as_given(saturation * dryness / 1000.0, temperature_c)


def dew_point_c(temperature_c: Measure, humidity_percent: Measure | float) -> Measure:
    """Temperature at which this air would start to wet (below 0.01 degC: frost) a surface.

    Raises:
        ValueError: also for air so dry that no dew point lies within :data:`TEMPERATURE_RANGE_C`.
    """
    return _as_given(_dew_point(_vapour(temperature_c, humidity_percent)), temperature_c)


def dew_point_over_water_c(temperature_c: Measure, humidity_percent: Measure | float) -> Measure:
    """The dew point over water, also where that would have frozen; above 0.01 degC as :func:`dew_point_c`.

    Raises:
        ValueError: also for air so dry that no dew point lies within :data:`WATER_RANGE_C`.
    """
    vapour = _vapour(temperature_c, humidity_percent)
    return _as_given(_dew_point(vapour, _log_over_water, _slope_over_water, WATER_RANGE_C), temperature_c)


def wet_bulb_c(
    temperature_c: Measure,
    humidity_percent: Measure | float,
    pressure_pa: Measure | float = STANDARD_PRESSURE_PA,
) -> Measure:
    """Temperature of a wetted, well ventilated bulb in this air (thermodynamic wet bulb).

    Found by halving between dew point and air temperature. Close to 0 degC the bulb may be wet or icy; the
    equations then have two answers, up to half a kelvin either side of zero, and one of them is returned.

    Raises:
        ValueError: also for air too dry to have a dew point in range.
    """
    vapour = _vapour(temperature_c, humidity_percent)
    pressure = _pressure(pressure_pa)
    ratio = _ratio(vapour, pressure)
    air = np.broadcast_to(_temperature(temperature_c), ratio.shape)
    low, high = np.minimum(_dew_point(vapour), air), air
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        too_wet = _ratio_at_wet_bulb(air, middle, pressure) > ratio
        low, high = np.where(too_wet, low, middle), np.where(too_wet, middle, high)
    return _as_given((low + high) / 2.0, temperature_c)


def humidity_from_wet_bulb_percent(
    temperature_c: Measure,
    wet_bulb_c: Measure | float,
    pressure_pa: Measure | float = STANDARD_PRESSURE_PA,
) -> Measure:
    """Relative humidity from a dry and a wet thermometer.

    Raises:
        ValueError: also when the wet bulb is warmer than the air, or colder than dry air could make it.
    """
    air, bulb, pressure = _temperature(temperature_c), _temperature(wet_bulb_c), _pressure(pressure_pa)
    if np.any(bulb > air):
        raise ValueError("wet_bulb_c is above temperature_c")
    ratio = _ratio_at_wet_bulb(air, bulb, pressure)
    if np.any(ratio < 0.0):
        raise ValueError("wet_bulb_c is colder than even dry air at temperature_c could make it")
    vapour = pressure * ratio / (_MASS_RATIO + ratio)
    return _as_given(100.0 * vapour / np.exp(_log_saturation(air)), temperature_c)


def humidity_ratio(
    temperature_c: Measure,
    humidity_percent: Measure | float,
    pressure_pa: Measure | float = STANDARD_PRESSURE_PA,
) -> Measure:
    """Kilograms of water vapour carried by each kilogram of dry air."""
    return _as_given(_ratio(_vapour(temperature_c, humidity_percent), _pressure(pressure_pa)), temperature_c)


def absolute_humidity_g_per_m3(temperature_c: Measure, humidity_percent: Measure | float) -> Measure:
    """Grams of water vapour in a cubic metre of air; in an ideal gas it does not depend on pressure."""
    kelvin = _temperature(temperature_c) + _ZERO_C_IN_K
    vapour_gas_j_per_kg_k = _DRY_AIR_GAS_J_PER_KG_K / _MASS_RATIO
    vapour = _vapour(temperature_c, humidity_percent)
    return _as_given(1000.0 * vapour / (vapour_gas_j_per_kg_k * kelvin), temperature_c)


def enthalpy_kj_per_kg(
    temperature_c: Measure,
    humidity_percent: Measure | float,
    pressure_pa: Measure | float = STANDARD_PRESSURE_PA,
) -> Measure:
    """Heat content of moist air per kilogram of dry air, counted from dry air and liquid water at 0 degC."""
    air = _temperature(temperature_c)
    ratio = _ratio(_vapour(temperature_c, humidity_percent), _pressure(pressure_pa))
    return _as_given(1.006 * air + ratio * (2501.0 + 1.86 * air), temperature_c)


def specific_volume_m3_per_kg(
    temperature_c: Measure,
    humidity_percent: Measure | float,
    pressure_pa: Measure | float = STANDARD_PRESSURE_PA,
) -> Measure:
    """Cubic metres that hold one kilogram of dry air, with the vapour that goes with it."""
    kelvin = _temperature(temperature_c) + _ZERO_C_IN_K
    pressure = _pressure(pressure_pa)
    ratio = _ratio(_vapour(temperature_c, humidity_percent), pressure)
    return _as_given(_DRY_AIR_GAS_J_PER_KG_K * kelvin * (1.0 + ratio / _MASS_RATIO) / pressure, temperature_c)


def pressure_pa(altitude_m: Measure) -> Measure:
    """Air pressure of the standard atmosphere; the weather moves the real one by some 3 % either way."""
    altitude = _within("altitude_m", altitude_m, ALTITUDE_RANGE_M)
    # The power operator rounds a single number otherwise than an array.
    return _as_given(STANDARD_PRESSURE_PA * np.power(1.0 - 2.25577e-5 * altitude, 5.2559), altitude_m)


def _within(name: str, value: float | Array, allowed: tuple[float, float]) -> Array:
    """``value`` as an array, refused unless every element lies in the allowed range (NaN never does)."""
    array = np.asarray(value, dtype=np.float64)
    low, high = allowed
    inside = (array >= low) & (array <= high)
    if not np.all(inside):
        worst = array[~inside].flat[0]
        raise ValueError(f"{name} is {worst:g}; it must be from {low:g} to {high:g}")
    return array


def _temperature(value: float | Array) -> Array:
    return _within("temperature", value, TEMPERATURE_RANGE_C)


def _humidity(value: float | Array) -> Array:
    return _within("humidity_percent", value, HUMIDITY_RANGE_PERCENT)


def _pressure(value: float | Array) -> Array:
    return _within("pressure_pa", value, PRESSURE_RANGE_PA)


def _as_given(result: Array, given: Measure) -> Measure:
    """The result as a float where the first argument was one, else as the array it is."""
    return result if isinstance(given, np.ndarray) else float(result)


def _log_over_ice(temperature_c: Array) -> Array:
    """Natural logarithm of the saturation vapour pressure over ice in Pa (Hyland and Wexler)."""
    k = temperature_c + _ZERO_C_IN_K
    powers = k * (-9.677843e-3 + k * (6.2215701e-7 + k * (2.0747825e-9 - 9.484024e-13 * k)))
    return -5.6745359e3 / k + 6.3925247 + powers + 4.1635019 * np.log(k)


def _log_over_water(temperature_c: Array) -> Array:
    """Natural logarithm of the saturation vapour pressure over water in Pa (Hyland and Wexler)."""
    k = temperature_c + _ZERO_C_IN_K
    powers = k * (-4.8640239e-2 + k * (4.1764768e-5 - 1.4452093e-8 * k))
    return -5.8002206e3 / k + 1.3914993 + powers + 6.5459673 * np.log(k)


def _log_saturation(temperature_c: Array) -> Array:
    """Of ice below the triple point, of water from there on."""
    is_ice = temperature_c < _TRIPLE_POINT_C
    return np.where(is_ice, _log_over_ice(temperature_c), _log_over_water(temperature_c))


def _slope_over_ice(temperature_c: Array) -> Array:
    """Derivative of :func:`_log_over_ice`, per kelvin."""
    k = temperature_c + _ZERO_C_IN_K
    powers = -9.677843e-3 + k * (1.24431402e-6 + k * (6.2243475e-9 - 3.7936096e-12 * k))
    return 5.6745359e3 / k**2 + powers + 4.1635019 / k


def _slope_over_water(temperature_c: Array) -> Array:
    """Derivative of :func:`_log_over_water`, per kelvin."""
    k = temperature_c + _ZERO_C_IN_K
    powers = -4.8640239e-2 + k * (8.3529536e-5 - 4.3356279e-8 * k)
    return 5.8002206e3 / k**2 + powers + 6.5459673 / k


def _slope(temperature_c: Array) -> Array:
    """Derivative of :func:`_log_saturation`, per kelvin."""
    is_ice = temperature_c < _TRIPLE_POINT_C
    return np.where(is_ice, _slope_over_ice(temperature_c), _slope_over_water(temperature_c))


def _vapour(temperature_c: float | Array, humidity_percent: float | Array) -> Array:
    share = _humidity(humidity_percent) / 100.0
    return share * np.exp(_log_saturation(_temperature(temperature_c)))


def _dew_point_guess(vapour_pa: Array) -> Array:
    """Magnus form of WMO-No. 8 turned around: e = 611.2 exp(17.62 t / (243.12 + t)) Pa."""
    exponent = np.log(vapour_pa / 611.2)
    return 243.12 * exponent / (17.62 - exponent)


def _dew_point(
    vapour_pa: Array,
    log_saturation: Callable[[Array], Array] = _log_saturation,
    slope: Callable[[Array], Array] = _slope,
    allowed: tuple[float, float] = TEMPERATURE_RANGE_C,
) -> Array:
    low, high = allowed
    if np.any(vapour_pa < np.exp(log_saturation(np.asarray(low)))):
        raise ValueError(f"the air is too dry for a dew point above {low:g} degC")
    log_vapour = np.log(vapour_pa)
    point = np.clip(_dew_point_guess(vapour_pa), low, high)
    for _ in range(_NEWTON_STEPS):
        point = np.clip(point - (log_saturation(point) - log_vapour) / slope(point), low, high)
    return point


def _ratio(vapour_pa: Array, pressure_pa: Array) -> Array:
    """Humidity ratio; refuses air whose vapour alone would exceed the pressure."""
    if np.any(vapour_pa >= pressure_pa):
        raise ValueError("the vapour pressure reaches pressure_pa: this would be steam, not air")
    return _MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)


def _ratio_at_wet_bulb(air_c: Array, bulb_c: Array, pressure_pa: Array) -> Array:
    """Humidity ratio of air at ``air_c`` in which a bulb settles at ``bulb_c``."""
    saturation = np.exp(_log_saturation(bulb_c))
    # A bulb near boiling has no saturated ratio; a huge one keeps the search going downwards.
    saturated = _MASS_RATIO * saturation / np.maximum(pressure_pa - saturation, 1.0)
    cooling = 1.006 * (air_c - bulb_c)
    wet = ((2501.0 - 2.326 * bulb_c) * saturated - cooling) / (2501.0 + 1.86 * air_c - 4.186 * bulb_c)
    icy = ((2830.0 - 0.24 * bulb_c) * saturated - cooling) / (2830.0 + 1.86 * air_c - 2.1 * bulb_c)
    return np.where(bulb_c < 0.0, icy, wet)
