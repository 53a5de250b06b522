"""Air properties against published rows and against PsychroLib itself."""

from __future__ import annotations

import psychrolib
import pytest

from simulator import air

pytestmark = pytest.mark.pure

SEA_LEVEL_PA = 101_325.0


@pytest.mark.parametrize(
    ("temperature_c", "pascals"),
    # ASHRAE Handbook Fundamentals 2017, chapter 1, table 3, as carried in PsychroLib's own test suite.
    [(5.0, 872.6), (25.0, 3169.7), (50.0, 12_351.3)],
)
def test_saturation_pressure_agrees_with_the_ashrae_table(temperature_c: float, pascals: float) -> None:
    assert air.saturation_pa(temperature_c) == pytest.approx(pascals, rel=3e-4)


@pytest.mark.parametrize("hundredths", range(-3990, 6000, 531))
def test_the_grid_gives_what_psychrolib_gives(hundredths: int) -> None:
    temperature_c = hundredths / 100
    expected = psychrolib.GetSatVapPres(temperature_c)
    assert air.saturation_pa(temperature_c) == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize("temperature_c", [-5.0, 2.0, 15.0, 23.0])
@pytest.mark.parametrize("humidity_pct", [20.0, 60.0, 97.0])
def test_humidity_and_ratio_agree_with_psychrolib_both_ways(temperature_c: float, humidity_pct: float) -> None:
    pascals = air.pressure_pa(310.0)
    ratio = air.ratio_from_humidity(temperature_c, humidity_pct, pascals)
    expected = psychrolib.GetHumRatioFromRelHum(temperature_c, humidity_pct / 100, pascals)
    assert ratio == pytest.approx(expected, rel=3e-5)
    assert air.humidity_pct(temperature_c, ratio, pascals) == pytest.approx(humidity_pct, abs=0.01)


def test_saturated_air_holds_what_psychrolib_says() -> None:
    assert air.saturation_ratio(15.0, SEA_LEVEL_PA) == pytest.approx(
        psychrolib.GetSatHumRatio(15.0, SEA_LEVEL_PA), rel=3e-5
    )


def test_a_degree_at_60_f_and_90_percent_costs_the_known_points() -> None:
    # Computed with PsychroLib alone: the same moisture one kelvin warmer.
    warm_c = (60 - 32) / 1.8
    ratio = psychrolib.GetHumRatioFromRelHum(warm_c, 0.9, SEA_LEVEL_PA)
    expected = 100 * psychrolib.GetRelHumFromHumRatio(warm_c + 1, ratio, SEA_LEVEL_PA)
    assert air.humidity_pct(warm_c + 1, ratio, SEA_LEVEL_PA) == pytest.approx(expected, abs=0.01)
    assert expected == pytest.approx(84.4, abs=0.1)


def test_air_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="no room or weather"):
        air.saturation_pa(200.0)
