"""Fittings do what their control says, and nothing when broken."""

from __future__ import annotations

import pytest

from simulator.equipment import Cooling, Door, FreshAirFan, Heater, Humidifier

pytestmark = pytest.mark.pure


def test_a_humidifier_mists_between_two_humidities() -> None:
    humidifier = Humidifier(rate_kg_h=3.6, on_below_pct=91.0, off_above_pct=94.0)
    steps = [92.0, 90.9, 93.0, 94.1, 92.0]
    assert [humidifier.mist_kg_s(pct, broken=False) for pct in steps] == [0.0, 0.001, 0.001, 0.0, 0.0]


def test_a_broken_humidifier_gives_nothing_and_mists_again_once_mended() -> None:
    humidifier = Humidifier(rate_kg_h=3.6, on_below_pct=91.0, off_above_pct=94.0)
    assert humidifier.mist_kg_s(80.0, broken=True) == 0.0
    assert humidifier.mist_kg_s(80.0, broken=False) > 0


def test_a_heater_opens_in_proportion_to_the_cold() -> None:
    heater = Heater(full_w=10_000.0, target_c=15.0)
    assert [heater.heat_w(c, broken=False) for c in (10.0, 15.0, 15.25, 16.0)] == [10_000, 5000, 2500, 0]
    assert heater.heat_w(10.0, broken=True) == 0.0


def test_fresh_air_rises_with_co2_between_its_ends() -> None:
    fan = FreshAirFan(low_h=1.0, high_h=3.0, from_ppm=800.0, to_ppm=1000.0)
    assert [fan.air_changes_h(ppm, 0, broken=False) for ppm in (400, 900, 2000)] == [1.0, 2.0, 3.0]
    assert fan.air_changes_h(2000, 0, broken=True) == 0.0


def test_a_fan_on_duty_stands_for_the_rest_of_its_period() -> None:
    fan = FreshAirFan(low_h=2.0, high_h=2.0, from_ppm=1.0, to_ppm=2.0, duty=0.75, period_s=480)
    running = [fan.air_changes_h(0, second, broken=False) > 0 for second in range(480)]
    assert sum(running) == 360


def test_a_cooler_stops_cooling_and_warms_while_it_defrosts() -> None:
    cooling = Cooling(
        air_kg_s=0.4, coil_c=-3.0, on_above_c=2.4, off_below_c=1.2, defrost_every_s=21_600, defrost_s=1200
    )
    assert cooling.coil_air_kg_s(3.0, 600) == 0.0
    assert cooling.coil_air_kg_s(3.0, 1200) == 0.4
    assert cooling.coil_air_kg_s(2.0, 1800) == 0.4
    assert cooling.coil_air_kg_s(1.1, 2400) == 0.0


def test_a_door_is_open_while_the_crew_is_in_or_when_left_open() -> None:
    door = Door(open_h=6.0, visits=((25_200, 50),))
    assert [door.air_changes_h(second, left_open=False) for second in (25_199, 25_200, 25_249, 25_250)] == [
        0.0,
        6.0,
        6.0,
        0.0,
    ]
    assert door.air_changes_h(0, left_open=True) == 6.0
