"""The invented weather: cold and dry, smooth, the same for the same seed."""

from __future__ import annotations

import itertools

import pytest

from simulator import air, farm
from simulator.weather import Weather

pytestmark = pytest.mark.pure

PRESSURE_PA = air.pressure_pa(farm.ALTITUDE_M)
MINUTE_MS = 60_000
DAYS = range(farm.DEMO_EVENING_MS, farm.DEMO_EVENING_MS + 3 * 86_400_000, 10 * MINUTE_MS)


def weather(seed: int = 1) -> Weather:
    return Weather(farm.CLIMATE, PRESSURE_PA, seed)


def test_the_same_seed_is_the_same_weather_and_another_is_not() -> None:
    assert weather(4).at(farm.DEMO_EVENING_MS) == weather(4).at(farm.DEMO_EVENING_MS)
    assert weather(4).at(farm.DEMO_EVENING_MS) != weather(5).at(farm.DEMO_EVENING_MS)


@pytest.mark.parametrize("seed", range(6))
def test_the_air_is_cold_and_dry_enough_to_dry_a_house_out(seed: int) -> None:
    for at_ms in DAYS:
        outside = weather(seed).at(at_ms)
        assert -8 < outside.temperature_c < 8
        assert outside.ratio < 0.3 * air.saturation_ratio(15.0, PRESSURE_PA)
        assert air.humidity_pct(outside.temperature_c, outside.ratio, PRESSURE_PA) <= 100


def test_nights_are_colder_than_afternoons() -> None:
    midnight_ms = farm.DEMO_EVENING_MS + 130 * MINUTE_MS
    night = weather().at(midnight_ms + 4 * 60 * MINUTE_MS).temperature_c
    afternoon = weather().at(midnight_ms + 15 * 60 * MINUTE_MS).temperature_c
    assert afternoon - night > 4


def test_weather_is_smooth() -> None:
    temperatures = [weather().at(at_ms).temperature_c for at_ms in DAYS]
    assert max(abs(b - a) for a, b in itertools.pairwise(temperatures)) < 0.5
