"""Air properties against published tables and other people's programs.

Every row of ``tests/reference/psychrometrics.csv`` carries its own source, basis and tolerance. The grid at the
middle asks PsychroLib (an independent implementation of the ASHRAE equations) directly.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from pathlib import Path
from typing import cast

import numpy as np
import psychrolib
import pytest

from rules import derive

pytestmark = pytest.mark.pure

REFERENCE = Path(__file__).parents[1] / "reference" / "psychrometrics.csv"
ROWS = list(csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines()))

psychrolib.SetUnitSystem(psychrolib.SI)


def _value(row: dict[str, str], name: str) -> float:
    return float(row[name])


def _other(row: dict[str, str]) -> float:
    return float(row["other_input"].partition("=")[2])


def _humidity(row: dict[str, str]) -> float:
    """A row gives relative humidity, or a wet bulb to work it out from."""
    if row["other_input"]:
        return derive.humidity_from_wet_bulb_percent(_value(row, "T_C"), _other(row), _value(row, "P_Pa"))
    return _value(row, "RH_pct")


def _with_pressure(function: Callable[[float, float, float], float]) -> Callable[[dict[str, str]], float]:
    return lambda row: function(_value(row, "T_C"), _humidity(row), _value(row, "P_Pa"))


def _without_pressure(function: Callable[[float, float], float]) -> Callable[[dict[str, str]], float]:
    return lambda row: function(_value(row, "T_C"), _humidity(row))


def _magnus(row: dict[str, str]) -> float:
    """The Magnus form only serves as first guess, turned around; here it is put back with its own slope."""
    expected = _value(row, "expected")
    missed_c = _value(row, "T_C") - float(derive._dew_point_guess(np.asarray(expected)))
    slope_pa_per_c = expected * 17.62 * 243.12 / (243.12 + _value(row, "T_C")) ** 2
    return expected + missed_c * slope_pa_per_c


COMPUTE: dict[str, Callable[[dict[str, str]], float]] = {
    "saturation_vapour_pressure": lambda row: derive.saturation_vapour_pressure_pa(_value(row, "T_C")),
    "saturation_vapour_pressure_magnus_wmo": _magnus,
    "saturation_humidity_ratio": _with_pressure(derive.humidity_ratio),
    "saturated_air_enthalpy": lambda row: 1000.0 * _with_pressure(derive.enthalpy_kj_per_kg)(row),
    "standard_atmosphere_pressure": lambda row: derive.pressure_pa(_other(row)),
    "relative_humidity": _humidity,
    "dew_point": _without_pressure(derive.dew_point_c),
    "wet_bulb": _with_pressure(derive.wet_bulb_c),
    "humidity_ratio": lambda row: 1000.0 * _with_pressure(derive.humidity_ratio)(row),
    "vapour_pressure_deficit": _without_pressure(derive.vapour_pressure_deficit_kpa),
    "absolute_humidity": _without_pressure(derive.absolute_humidity_g_per_m3),
    "enthalpy": _with_pressure(derive.enthalpy_kj_per_kg),
    "specific_volume": _with_pressure(derive.specific_volume_m3_per_kg),
}


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['id']}-{row['quantity']}" for row in ROWS])
def test_every_published_row_is_met_within_its_own_tolerance(row: dict[str, str]) -> None:
    expected, tolerance = float(row["expected"]), float(row["tolerance"])
    margin = tolerance * abs(expected) if row["tol_type"] == "rel" else tolerance
    assert abs(COMPUTE[row["quantity"]](row) - expected) <= margin, row["source"]


def test_the_reference_file_is_whole() -> None:
    assert len(ROWS) == 434
    assert {row["quantity"] for row in ROWS} == set(COMPUTE)


GRID = [
    (temperature, humidity, altitude)
    for temperature in (-15.0, -3.0, 0.5, 2.0, 8.0, 14.0, 18.0, 24.0, 30.0, 40.0, 60.0)
    for humidity in (5.0, 30.0, 55.0, 75.0, 90.0, 95.0, 99.0, 100.0)
    for altitude in (0.0, 600.0, 2500.0)
]


@pytest.mark.parametrize(("temperature", "humidity", "altitude"), GRID)
def test_psychrolib_agrees_over_the_range_of_growing_rooms(
    temperature: float, humidity: float, altitude: float
) -> None:
    """PsychroLib 2.5: same equations, other code, and its own root finding (stops at 0.001 K)."""
    pressure = derive.pressure_pa(altitude)
    share = humidity / 100
    ratio, wet_bulb, dew_point, vapour, enthalpy, volume, _ = cast(
        "tuple[float, ...]", psychrolib.CalcPsychrometricsFromRelHum(temperature, share, pressure)
    )
    assert pressure == pytest.approx(psychrolib.GetStandardAtmPressure(altitude), rel=1e-9)
    assert derive.humidity_ratio(temperature, humidity, pressure) == pytest.approx(ratio, rel=1e-6, abs=1e-7)
    assert derive.vapour_pressure_pa(temperature, humidity) == pytest.approx(vapour, rel=1e-9)
    assert derive.dew_point_c(temperature, humidity) == pytest.approx(dew_point, abs=0.002)
    assert derive.wet_bulb_c(temperature, humidity, pressure) == pytest.approx(wet_bulb, abs=0.002)
    assert derive.enthalpy_kj_per_kg(temperature, humidity, pressure) == pytest.approx(enthalpy / 1000, abs=0.002)
    assert derive.specific_volume_m3_per_kg(temperature, humidity, pressure) == pytest.approx(volume, rel=1e-6)
    saturation = cast("float", psychrolib.GetSatVapPres(temperature))
    deficit = cast("float", psychrolib.GetVaporPressureDeficit(temperature, ratio, pressure))
    moisture = cast("float", psychrolib.GetMoistAirDensity(temperature, ratio, pressure)) * ratio / (1 + ratio)
    assert derive.saturation_vapour_pressure_pa(temperature) == pytest.approx(saturation, rel=1e-9)
    expected_kpa = pytest.approx(deficit / 1000, rel=1e-6, abs=1e-7)
    assert derive.vapour_pressure_deficit_kpa(temperature, humidity) == expected_kpa
    assert derive.absolute_humidity_g_per_m3(temperature, humidity) == pytest.approx(1000 * moisture, rel=1e-4)


SUPERCOOLED = [row for row in ROWS if row["quantity"] == "dew_point" and float(row["expected"]) < -0.1]


@pytest.mark.parametrize("row", SUPERCOOLED, ids=[row["id"] for row in SUPERCOOLED])
def test_below_zero_the_dew_point_over_water_is_the_one_that_keeps_to_water(row: dict[str, str]) -> None:
    """MetPy 1.7.1, as the row carries it beside the frost point; its own equation differs by up to 0.03 K."""
    found = derive.dew_point_over_water_c(_value(row, "T_C"), _value(row, "RH_pct"))
    assert found == pytest.approx(float(row["alt_metpy"]), abs=0.03)
    assert found < derive.dew_point_c(_value(row, "T_C"), _value(row, "RH_pct"))


def test_above_zero_the_two_dew_points_are_one() -> None:
    assert derive.dew_point_over_water_c(16.0, 95.0) == derive.dew_point_c(16.0, 95.0)


@pytest.mark.parametrize("temperature", [-40.0, -30.0, -20.0, -10.0, -5.0, -1.0, 0.0])
def test_over_ice_and_over_supercooled_water_air_is_saturated_at_two_pressures(temperature: float) -> None:
    """WMO-No. 8 (2008) Annex 4.B (the form over ice is from memory); half a percent apart at most."""
    over_water = 611.2 * math.exp(17.62 * temperature / (243.12 + temperature))
    over_ice = 611.2 * math.exp(22.46 * temperature / (272.62 + temperature))
    assert derive.saturation_over_water_pa(temperature) == pytest.approx(over_water, rel=0.005)
    assert derive.saturation_over_ice_pa(temperature) == pytest.approx(over_ice, rel=0.005)
    assert derive.saturation_over_ice_pa(temperature) == derive.saturation_vapour_pressure_pa(temperature)


def test_water_carries_on_where_ice_ends() -> None:
    """At the triple point, 611.657 Pa (IAPWS, from memory), the two equations meet within 0.01 %."""
    over_water, over_ice = derive.saturation_over_water_pa(0.01), derive.saturation_over_ice_pa(0.01)
    assert over_water == pytest.approx(611.657, rel=1e-4)
    assert over_ice == pytest.approx(over_water, rel=1e-4)
    assert derive.saturation_over_water_pa(30.0) == derive.saturation_vapour_pressure_pa(30.0)


def _columns(seed: int, *ranges: tuple[float, float]) -> list[derive.Array]:
    random = np.random.default_rng(seed)
    return [random.uniform(low, high, 301) for low, high in ranges]


@pytest.mark.parametrize(
    ("function", "ranges"),
    [
        (derive.saturation_vapour_pressure_pa, [(-90, 190)]),
        (derive.saturation_over_water_pa, [(-40, 190)]),
        (derive.saturation_over_ice_pa, [(-90, 0)]),
        (derive.pressure_pa, [(-4000, 10_000)]),
        (derive.vapour_pressure_pa, [(-40, 60), (0, 100)]),
        (derive.vapour_pressure_deficit_kpa, [(-40, 60), (0, 100)]),
        (derive.dew_point_c, [(-40, 60), (5, 100)]),
        (derive.dew_point_over_water_c, [(0, 60), (10, 100)]),
        (derive.absolute_humidity_g_per_m3, [(-40, 60), (0, 100)]),
        (derive.wet_bulb_c, [(-40, 60), (5, 100), (70_000, 105_000)]),
        (derive.humidity_ratio, [(-40, 60), (0, 100), (70_000, 105_000)]),
        (derive.enthalpy_kj_per_kg, [(-40, 60), (0, 100), (70_000, 105_000)]),
        (derive.specific_volume_m3_per_kg, [(-40, 60), (0, 100), (70_000, 105_000)]),
        (derive.humidity_from_wet_bulb_percent, [(20, 40), (15, 20), (70_000, 105_000)]),
    ],
    ids=lambda given: getattr(given, "__name__", ""),
)
def test_an_array_gives_what_its_elements_give_to_the_last_digits(
    function: Callable[..., derive.Array], ranges: list[tuple[float, float]]
) -> None:
    """Equal to the last bit where this was written; a processor may round vectors otherwise, so a few bits."""
    columns = _columns(7, *ranges)
    one_by_one = [function(*(float(value) for value in row)) for row in zip(*columns, strict=True)]
    np.testing.assert_allclose(function(*columns), one_by_one, rtol=1e-13, atol=1e-13)


def test_the_wet_bulb_leads_back_to_the_humidity() -> None:
    temperature, humidity, pressure = _columns(8, (-20, 50), (10, 100), (70_000, 105_000))
    bulb = derive.wet_bulb_c(temperature, humidity, pressure)
    far_from_zero = np.abs(bulb) > 0.6  # around zero a bulb may be wet or icy, and two humidities fit
    back = derive.humidity_from_wet_bulb_percent(temperature, bulb, pressure)
    np.testing.assert_allclose(back[far_from_zero], humidity[far_from_zero], atol=1e-6)


def test_floats_stay_floats_and_arrays_keep_their_shape() -> None:
    assert type(derive.dew_point_c(16.0, 90.0)) is float
    assert type(derive.pressure_pa(250)) is float
    assert derive.wet_bulb_c(np.full((2, 3), 16.0), 90.0, 95_000.0).shape == (2, 3)
    assert derive.dew_point_c(np.array([]), np.array([])).shape == (0,)


def test_saturated_air_has_its_dew_point_and_wet_bulb_at_its_own_temperature() -> None:
    """By definition; also across the seam between ice and water."""
    temperature = np.linspace(-40.0, 60.0, 401)
    np.testing.assert_allclose(derive.dew_point_c(temperature, 100.0), temperature, atol=2e-4)
    np.testing.assert_allclose(derive.wet_bulb_c(temperature, 100.0), temperature, atol=2e-4)
    assert not np.any(derive.vapour_pressure_deficit_kpa(temperature, 100.0))


def test_dew_point_returns_the_temperature_whose_saturation_is_the_vapour_pressure() -> None:
    temperature, humidity = (grid.ravel() for grid in np.meshgrid(np.arange(-60.0, 90.0, 2.5), [1, 20, 60, 97]))
    dew_point = derive.dew_point_c(temperature, humidity)
    vapour = derive.vapour_pressure_pa(temperature, humidity)
    np.testing.assert_allclose(derive.saturation_vapour_pressure_pa(dew_point), vapour, rtol=2e-4)


def test_the_wet_bulb_is_found_where_the_bulb_itself_could_boil() -> None:
    """Hot dry air on a mountain: saturation at the air's own temperature is above the air pressure."""
    bulb = derive.wet_bulb_c(99.0, 20.0, 60_000.0)
    assert 40.0 < bulb < 86.0
    assert derive.humidity_from_wet_bulb_percent(99.0, bulb, 60_000.0) == pytest.approx(20.0, abs=1e-6)


@pytest.mark.parametrize("bad", [-100.1, 200.1, math.nan, math.inf, -math.inf])
def test_a_temperature_outside_the_equations_is_refused_by_name(bad: float) -> None:
    with pytest.raises(ValueError, match="temperature"):
        derive.saturation_vapour_pressure_pa(bad)
    with pytest.raises(ValueError, match="temperature"):
        derive.dew_point_c(np.array([15.0, bad]), 90.0)


@pytest.mark.parametrize(
    ("function", "bad", "told"),
    [
        (derive.saturation_over_ice_pa, 0.02, r"temperature over ice is 0.02; it must be from -100 to 0.01"),
        (derive.saturation_over_water_pa, -40.1, r"temperature over water is -40.1; it must be from -40 to 200"),
    ],
)
def test_each_surface_has_its_own_range(function: Callable[[float], float], bad: float, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        function(bad)


@pytest.mark.parametrize("bad", [-0.1, 100.1, 655.35, math.nan])
def test_an_impossible_humidity_is_refused_by_name(bad: float) -> None:
    with pytest.raises(ValueError, match=r"humidity_percent is .* from 0 to 100"):
        derive.vapour_pressure_deficit_kpa(15.0, bad)


@pytest.mark.parametrize("bad", [0.0, 1013.25, 101.325, 250_000.0, math.nan])
def test_a_pressure_in_another_unit_is_refused_by_name(bad: float) -> None:
    with pytest.raises(ValueError, match="pressure_pa"):
        derive.humidity_ratio(15.0, 90.0, bad)


@pytest.mark.parametrize("bad", [-5000.1, 11_000.1, math.nan])
def test_an_altitude_outside_the_lowest_layer_is_refused_by_name(bad: float) -> None:
    with pytest.raises(ValueError, match="altitude_m"):
        derive.pressure_pa(bad)


def test_bone_dry_air_has_no_dew_point() -> None:
    assert derive.humidity_ratio(15.0, 0.0) == 0.0
    with pytest.raises(ValueError, match="too dry"):
        derive.dew_point_c(15.0, 0.0)
    with pytest.raises(ValueError, match="too dry"):
        derive.wet_bulb_c(15.0, 0.0)
    with pytest.raises(ValueError, match="too dry for a dew point above -40 degC"):
        derive.dew_point_over_water_c(0.0, 2.0)


def test_steam_is_not_taken_for_air() -> None:
    with pytest.raises(ValueError, match="steam"):
        derive.humidity_ratio(101.0, 100.0)


def test_wet_bulbs_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="above temperature_c"):
        derive.humidity_from_wet_bulb_percent(15.0, 15.1)
    with pytest.raises(ValueError, match="colder than even dry air"):
        derive.humidity_from_wet_bulb_percent(40.0, 5.0)


def test_a_two_point_probe_at_95_percent_leaves_drying_power_uncertain_by_forty_percent() -> None:
    """Arithmetic of es (1 - RH / 100): half-width 2 / (100 - 95); why no enhancement factor is needed."""
    drier, nominal, wetter = derive.vapour_pressure_deficit_kpa(16.0 + np.zeros(3), np.array([93.0, 95, 97]))
    assert drier / nominal == pytest.approx(1.4)
    assert wetter / nominal == pytest.approx(0.6)
