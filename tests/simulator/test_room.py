"""Physics of one room, held to balances and formulas that do not use the stepping code."""

from __future__ import annotations

import itertools
import math

import psychrolib
import pytest

from simulator.room import CO2_KG_M3, HEAT_OF_RESPIRATION_J_KG_CO2, MIST_WATER_C, Drive, Room, RoomState
from simulator.weather import OutsideAir
from tests.support.plain_room import ISOTHERMAL_J_K, SEA_LEVEL_PA, celsius, outside, room, run

pytestmark = pytest.mark.pure

REFERENCE_HOUSE = {
    "block_kg": 11_400.0,
    "block_w_k": 3000.0,
    "block_vapour_kg_s": 0.1,
    "film_vapour_kg_s": 0.45,
    "film_full_kg": 12.0,
    "co2_ml_kg_h": 16.0,
    "quick_mass_j_k": 2.4e6,
    "equipment_w": 300.0,
}
COLD = outside(25, 60)
BUSY = Drive(air_changes_h=2.0, mist_kg_s=8 / 3600, heat_w=11_000.0)


def busy_house(**changes: float) -> tuple[Room, RoomState]:
    subject = room(**(REFERENCE_HOUSE | changes))
    return subject, subject.state(air_c=15.0, humidity_pct=90.0, co2_ppm=700.0, block_c=15.5)


def mean(before: float, after: float) -> float:
    return (before + after) / 2


@pytest.mark.parametrize("around", [COLD, outside(50, 70), outside(77, 60)], ids=["cold", "mild", "summer"])
@pytest.mark.parametrize("coil_kg_s", [0.0, 0.8], ids=["no coil", "coil"])
def test_water_is_neither_made_nor_lost(around: OutsideAir, coil_kg_s: float) -> None:
    """Stock of vapour and film against what came in and went out, within 0.1 % of what was misted."""
    subject, state = busy_house()
    drive = Drive(air_changes_h=2.0, mist_kg_s=8 / 3600, heat_w=9000.0, coil_air_kg_s=coil_kg_s, coil_c=2.0)
    states = run(subject, state, around, drive, 4 * 3600)
    coil_ratio = psychrolib.GetSatHumRatio(2.0, SEA_LEVEL_PA)
    flowed = 0.0
    for now, then in itertools.pairwise(states):
        ratio = mean(now.vapour_kg, then.vapour_kg) / subject.dry_air_kg
        block_ratio = 0.99 * psychrolib.GetSatHumRatio(mean(now.block_c, then.block_c), SEA_LEVEL_PA)
        film_kg = mean(now.film_kg, then.film_kg)
        flowed += 10 * 8 / 3600
        flowed += 10 * 2 / 3600 * subject.dry_air_kg * (around.ratio - ratio)
        flowed += 10 * 0.1 * (block_ratio - ratio)
        flowed -= 10 * coil_kg_s * max(0.0, ratio - coil_ratio)
        flowed -= 10 * max(0.0, film_kg - 12.0) / 600
    stored = states[-1].vapour_kg + states[-1].film_kg - states[0].vapour_kg - states[0].film_kg
    assert stored == pytest.approx(flowed, abs=0.001 * 32)


def test_heat_is_neither_made_nor_lost() -> None:
    """Enthalpy of air (PsychroLib), quick mass and blocks against all heat that passed, within 0.2 %."""
    subject, state = busy_house()
    states = run(subject, state, COLD, BUSY, 4 * 3600)

    def enthalpy_j(state: RoomState) -> float:
        air_j_kg = psychrolib.GetMoistAirEnthalpy(state.air_c, state.vapour_kg / subject.dry_air_kg)
        return float(subject.dry_air_kg * air_j_kg) + 2.4e6 * state.air_c + 11_400 * 3000.0 * state.block_c

    fresh_j_kg = psychrolib.GetMoistAirEnthalpy(COLD.temperature_c, COLD.ratio)
    came_in = 0.0
    for now, then in itertools.pairwise(states):
        air_c, block_c = mean(now.air_c, then.air_c), mean(now.block_c, then.block_c)
        ratio = mean(now.vapour_kg, then.vapour_kg) / subject.dry_air_kg
        left_j_kg = psychrolib.GetMoistAirEnthalpy(air_c, ratio)
        came_in += 10 * 2 / 3600 * subject.dry_air_kg * (fresh_j_kg - left_j_kg)
        came_in += 10 * (300.0 * (COLD.temperature_c - air_c) + 11_000.0 + 300.0)
        respired_kg_s = 11_400 * 16e-6 / 3600 * 2 ** ((block_c - 15) / 10) * CO2_KG_M3
        came_in += 10 * respired_kg_s * HEAT_OF_RESPIRATION_J_KG_CO2
        came_in += _liquid_water_j(subject, now, then)
    moved = 11_000.0 * 4 * 3600
    assert enthalpy_j(states[-1]) - enthalpy_j(states[0]) == pytest.approx(came_in, abs=0.002 * moved)


def _liquid_water_j(subject: Room, now: RoomState, then: RoomState) -> float:
    """Heat that liquid water brings as it turns to vapour: from the blocks, and from mist and film together."""
    air_c, block_c = mean(now.air_c, then.air_c), mean(now.block_c, then.block_c)
    ratio = mean(now.vapour_kg, then.vapour_kg) / subject.dry_air_kg
    block_kg = 10 * 0.1 * (0.99 * psychrolib.GetSatHumRatio(block_c, SEA_LEVEL_PA) - ratio)
    saturated = psychrolib.GetSatHumRatio(air_c, SEA_LEVEL_PA)
    film_kg = 10 * 0.45 * min(1.0, mean(now.film_kg, then.film_kg) / 12) * (saturated - ratio)
    vented_kg = 10 * 2 / 3600 * subject.dry_air_kg * (COLD.ratio - ratio)
    misted_kg = then.vapour_kg - now.vapour_kg - block_kg - film_kg - vented_kg
    return float(4186 * (block_kg * block_c + film_kg * air_c + misted_kg * MIST_WATER_C))


def test_an_empty_room_tends_to_outside_air() -> None:
    subject = room()
    around = outside(40, 70)
    state = subject.state(air_c=15.0, humidity_pct=50.0, co2_ppm=3000.0, block_c=15.0)
    last = run(subject, state, around, Drive(air_changes_h=2.0), 24 * 3600)[-1]
    assert last.air_c == pytest.approx(around.temperature_c, abs=0.01)
    assert last.vapour_kg / subject.dry_air_kg == pytest.approx(around.ratio, rel=1e-4)
    assert subject.co2_ppm(last) == pytest.approx(420.0, abs=0.1)


def test_with_equipment_off_the_blocks_keep_the_room_above_outside_by_what_they_give_off() -> None:
    """CO2 against the steady-state formula, outdoor + E / Q (single-zone mass balance, Batterman 2017)."""
    subject, state = busy_house()
    last = run(subject, state, outside(50, 70), Drive(air_changes_h=2.0), 60 * 3600, step_s=30.0)[-1]
    given_m3_h = 11_400 * 16e-6 * 2 ** ((last.block_c - 15) / 10)
    assert subject.co2_ppm(last) == pytest.approx(420 + given_m3_h / 720 * 1e6, rel=2e-3)
    assert last.air_c > celsius(50)


@pytest.mark.parametrize("air_changes_h", [0.5, 2.0, 6.0, 20.0])
def test_co2_decays_as_the_tracer_formula_says(air_changes_h: float) -> None:
    """Concentration decay of ASTM E741: C - Cout = (C0 - Cout) exp(-n t)."""
    subject = room()
    state = subject.state(air_c=15.0, humidity_pct=50.0, co2_ppm=3000.0, block_c=15.0)
    last = run(subject, state, outside(60, 50), Drive(air_changes_h=air_changes_h), 1800)[-1]
    expected = 420 + (3000 - 420) * math.exp(-air_changes_h / 2)
    assert subject.co2_ppm(last) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("air_changes_h", "removed_pct", "minutes"),
    # CDC, MMWR 28 Oct 1994 (guidelines for preventing tuberculosis transmission), table S3-1, rounded there.
    [(6, 90, 23), (6, 99.9, 69), (8, 99, 35), (10, 99, 28), (12, 99.9, 35), (15, 90, 9)],
)
def test_purging_takes_the_minutes_of_the_published_table(
    air_changes_h: float, removed_pct: float, minutes: float
) -> None:
    subject = room()
    state = subject.state(air_c=15.0, humidity_pct=50.0, co2_ppm=100_000.0, block_c=15.0)
    around = OutsideAir(temperature_c=15.0, ratio=0.005, co2_ppm=0.0)
    states = run(subject, state, around, Drive(air_changes_h=air_changes_h), 90 * 60, step_s=2.0)
    left_m3 = states[0].co2_m3 * (1 - removed_pct / 100)
    taken = next(index for index, state in enumerate(states) if state.co2_m3 <= left_m3) * 2 / 60
    assert taken == pytest.approx(minutes, abs=0.55)


@pytest.mark.parametrize(
    ("fahrenheit", "humidity_pct", "minutes"),
    # Computed by hand for well-mixed air at 60 F, 2 air changes/h, nothing giving water back:
    # t = ln((w92 - wout) / (w80 - wout)) / 2 h, with humidity ratios from PsychroLib.
    [(32, 70, 5.8), (50, 70, 9.8)],
)
def test_without_mist_and_wet_surfaces_dry_air_takes_92_to_80_percent_in_the_computed_minutes(
    fahrenheit: float, humidity_pct: float, minutes: float
) -> None:
    around = outside(fahrenheit, humidity_pct)
    ratios = [psychrolib.GetHumRatioFromRelHum(celsius(60), share, SEA_LEVEL_PA) for share in (0.92, 0.80)]
    by_hand = math.log((ratios[0] - around.ratio) / (ratios[1] - around.ratio)) / 2 * 60
    assert by_hand == pytest.approx(minutes, abs=0.2)
    assert _minutes_to_80(room(quick_mass_j_k=ISOTHERMAL_J_K), around) == pytest.approx(by_hand, abs=0.2)


def test_in_humid_summer_air_humidity_never_falls_to_80_percent() -> None:
    # 77 F and 60 % holds more water than saturated air at 60 F.
    assert _minutes_to_80(room(quick_mass_j_k=ISOTHERMAL_J_K), outside(77, 60)) is None


def test_wet_surfaces_stretch_the_fall_but_keep_it_within_20_minutes() -> None:
    wet = room(**(REFERENCE_HOUSE | {"quick_mass_j_k": ISOTHERMAL_J_K}))
    dry = room(quick_mass_j_k=ISOTHERMAL_J_K)
    slow, fast = _minutes_to_80(wet, outside(32, 70)), _minutes_to_80(dry, outside(32, 70))
    assert slow is not None
    assert fast is not None
    assert 3 <= fast < slow <= 20


def _minutes_to_80(subject: Room, around: OutsideAir) -> float | None:
    state = subject.state(air_c=celsius(60), humidity_pct=92.0, co2_ppm=700.0, block_c=celsius(60))
    states = run(subject, state, around, Drive(air_changes_h=2.0), 12 * 3600)
    return next((index / 6 for index, s in enumerate(states) if subject.humidity_pct(s) <= 80), None)


def test_when_the_heater_stops_air_falls_within_half_an_hour_and_blocks_slowly() -> None:
    """A house of 11.4 t at 60 F, 32 F outside, mist still on.

    What the blocks lose (F after hours) are rough planning figures of our own, not measurements.
    """
    subject = room(**REFERENCE_HOUSE)
    state = subject.state(air_c=celsius(60), humidity_pct=92.0, co2_ppm=700.0, block_c=celsius(60))
    drive = Drive(air_changes_h=2.0, mist_kg_s=6 / 3600)
    states = run(subject, state, outside(32, 70), drive, 12 * 3600)
    air_lost = [(states[0].air_c - s.air_c) * 1.8 for s in states]
    block_lost = [(states[0].block_c - s.block_c) * 1.8 for s in states]
    settled = air_lost[3 * 360] - block_lost[3 * 360]
    two_thirds = next(index / 6 for index, lost in enumerate(air_lost) if lost > 0.63 * settled)
    assert 5 <= two_thirds <= 30
    for hours, lost in {1: 1.6, 3: 4.0, 6: 8.0, 12: 14.0}.items():
        assert block_lost[hours * 360] == pytest.approx(lost, abs=0.7)
    assert air_lost[30 * 6] > 5 * block_lost[30 * 6]


def test_halving_the_step_changes_humidity_by_less_than_half_a_point() -> None:
    subject, state = busy_house()
    drive = Drive(air_changes_h=2.0, heat_w=9000.0)
    coarse = run(subject, state, COLD, drive, 2 * 3600, step_s=10.0)
    fine = run(subject, state, COLD, drive, 2 * 3600, step_s=5.0)[::2]
    differences = [
        abs(subject.humidity_pct(a) - subject.humidity_pct(b)) for a, b in zip(coarse, fine, strict=True)
    ]
    assert max(differences) < 0.5


def test_air_that_cools_past_its_dew_point_fogs_and_wets_the_floor() -> None:
    subject = room(film_full_kg=50.0)
    state = subject.state(air_c=20.0, humidity_pct=95.0, co2_ppm=500.0, block_c=20.0)
    last = run(subject, state, outside(10, 50), Drive(air_changes_h=0.0), 2 * 3600)[-1]
    assert last.film_kg > state.film_kg + 0.5
    assert last.vapour_kg + last.film_kg == pytest.approx(state.vapour_kg + state.film_kg, rel=1e-6)
    assert subject.humidity_pct(last) < 103
