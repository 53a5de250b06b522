"""Bands of drying power and dew point against the rows of ``tests/reference/humidity_error.csv``.

Each row carries its source, basis and tolerance: differences worked out with PsychroLib, which is another program
for the same equations. The accuracies in it are examples of what makers state.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.derive import dew_point_c, vapour_pressure_deficit_kpa
from rules.drying import (
    Accuracy,
    Estimate,
    dew_point,
    drying_power,
    humidity_at_warm_probe_percent,
    humidity_of_air_percent,
)
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

REFERENCE = Path(__file__).parents[1] / "reference" / "humidity_error.csv"
ROWS = list(csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines()))

PICK: dict[str, Callable[[Estimate], float]] = {
    "nominal": lambda found: found.value,
    "low": lambda found: found.low,
    "high": lambda found: found.high,
    "relative_halfwidth": lambda found: 100 * found.error / found.value,
    "change_from_dT": lambda found: found.error,
    "rss": lambda found: found.error,
}


def _computed(row: dict[str, str]) -> float:
    temperature, humidity, kelvins, points = (float(row[key]) for key in ("T_C", "RH_pct", "dT_C", "dRH_pct"))
    if row["quantity"] == "indicated_RH_of_self_heated_sensor":
        return humidity_at_warm_probe_percent(temperature, humidity, kelvins)
    is_power = row["quantity"].startswith("vpd_")
    accuracy = Accuracy(humidity_percent=abs(points), temperature_k=kelvins)
    found = (drying_power if is_power else dew_point)(temperature, humidity, accuracy)
    return PICK[row["quantity"].removeprefix("vpd_" if is_power else "dew_point_")](found)


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['id']}-{row['quantity']}" for row in ROWS])
def test_every_row_is_met_within_its_own_tolerance(row: dict[str, str]) -> None:
    expected, tolerance = float(row["expected"]), float(row["tolerance"])
    margin = tolerance * abs(expected) if row["tol_type"] == "rel" else tolerance
    assert abs(_computed(row) - expected) <= margin, row["source"]


def test_the_reference_file_is_whole() -> None:
    assert len(ROWS) == 84


TWO_POINTS = Accuracy(humidity_percent=2.0)
ORDINARY = Accuracy(humidity_percent=2.0, temperature_k=0.5)


def test_two_points_at_95_percent_are_forty_percent_of_the_drying_power() -> None:
    """Arithmetic: the half-width is 2 / (100 - 95) of it, at any temperature."""
    for temperature in (2.0, 16.0, 24.0):
        found = drying_power(temperature, 95.0, TWO_POINTS)
        assert found.error / found.value == pytest.approx(0.4)
        assert found.low / found.value == pytest.approx(0.6)
        assert found.high / found.value == pytest.approx(1.4)


def test_drying_power_is_shown_with_the_digits_its_error_leaves() -> None:
    """At 16 degC: error 0.036 kPa, so hundredths; at 30 degC and 20 %RH 0.13 kPa, so tenths."""
    found = drying_power(16.0, 95.0, ORDINARY)
    figures = [f"{figure:.{found.decimals}f}" for figure in (found.value, found.low, found.high)]
    assert figures == ["0.09", "0.05", "0.13"]
    assert drying_power(30.0, 20.0, ORDINARY).decimals == 1
    assert dew_point(16.0, 95.0, ORDINARY).decimals == 1
    assert drying_power(16.0, 95.0, Accuracy(humidity_percent=0.0)).decimals == 3
    assert drying_power(16.0, 95.0, Accuracy(humidity_percent=0.001)).decimals == 3
    assert dew_point(30.0, 6.0, ORDINARY).decimals == 0


def test_air_is_never_wetter_than_saturated_nor_drier_than_dry() -> None:
    wet, dry = drying_power(16.0, 99.0, ORDINARY), drying_power(16.0, 0.0, ORDINARY)
    assert wet.low == 0.0
    assert dry.high == pytest.approx(vapour_pressure_deficit_kpa(16.5, 0.0), rel=0.002)
    assert dew_point(16.0, 99.0, TWO_POINTS).high == pytest.approx(16.0)
    saturated = drying_power(16.0, 100.0, ORDINARY)
    assert (saturated.value, saturated.low) == (0.0, 0.0)
    assert saturated.error == pytest.approx(drying_power(16.0, 98.0, TWO_POINTS).value, rel=1e-6)


def test_a_dew_point_that_may_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="too dry"):
        dew_point(16.0, 1.5, ORDINARY)


@pytest.mark.parametrize(
    "wrong", [Accuracy(humidity_percent=-1.0), Accuracy(humidity_percent=2, temperature_k=-1)]
)
def test_an_accuracy_below_nothing_is_refused(wrong: Accuracy) -> None:
    with pytest.raises(ValueError, match="at least 0"):
        drying_power(16.0, 95.0, wrong)
    with pytest.raises(ValueError, match="at least 0"):
        dew_point(16.0, 95.0, Accuracy(humidity_percent=math.nan))


AIR = st.tuples(st.floats(-10, 40), st.floats(20, 100))


@STEADY
@given(air=AIR, points=st.floats(0, 5), kelvins=st.floats(0, 1))
def test_a_figure_lies_in_its_band_and_a_better_probe_never_widens_it(
    air: tuple[float, float], points: float, kelvins: float
) -> None:
    rough = Accuracy(humidity_percent=points, temperature_k=kelvins)
    fine = Accuracy(humidity_percent=points / 2, temperature_k=kelvins / 2)
    for figure in (drying_power, dew_point):
        wide, narrow = figure(*air, rough), figure(*air, fine)
        assert wide.low <= narrow.low <= narrow.value <= narrow.high <= wide.high
        assert narrow.error <= wide.error


@STEADY
@given(air=AIR, warmer=st.floats(0, 3))
def test_a_warm_probe_keeps_the_dew_point_and_leads_back_to_the_air(
    air: tuple[float, float], warmer: float
) -> None:
    """The vapour is the same whatever the probe's own temperature is."""
    temperature, humidity = air
    shown = humidity_at_warm_probe_percent(temperature, humidity, warmer)
    assert shown <= humidity
    assert dew_point_c(temperature + warmer, shown) == pytest.approx(dew_point_c(temperature, humidity), abs=1e-6)
    assert humidity_of_air_percent(temperature + warmer, shown, warmer) == pytest.approx(humidity)


def test_three_tenths_of_a_kelvin_hide_two_points() -> None:
    """At 18 degC 93.2 is shown instead of 95 (worked out with PsychroLib 2.5.0: 95 x 2064.3 / 2103.6)."""
    assert humidity_at_warm_probe_percent(18.0, 95.0, 0.3) == pytest.approx(93.2, abs=0.05)


def test_a_probe_colder_than_the_dew_point_is_wet_and_says_nothing() -> None:
    with pytest.raises(ValueError, match="2 K colder than this air would be wet"):
        humidity_at_warm_probe_percent(16.0, 95.0, -2.0)
    assert humidity_of_air_percent(16.0, 99.5, 1.0) == 100.0
