"""A room with nothing in it unless asked: what physical checks start from."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from simulator import air
from simulator.room import Drive, Room, RoomSpec, RoomState
from simulator.weather import OutsideAir

SEA_LEVEL_PA: Final = 101_325.0
ISOTHERMAL_J_K: Final = 1e15
"""Quick mass so great that the air keeps its temperature."""

EMPTY: Final = RoomSpec(
    volume_m3=360.0,
    envelope_w_k=300.0,
    quick_mass_j_k=1e6,
    block_kg=1.0,
    block_w_k=0.0,
    block_vapour_kg_s=0.0,
    film_vapour_kg_s=0.0,
    film_full_kg=1.0,
    co2_ml_kg_h=0.0,
    target_c=15.0,
    pressure_pa=SEA_LEVEL_PA,
)


def room(**changes: Any) -> Room:
    """An empty 360 m3 room at sea level, changed as asked."""
    return Room(replace(EMPTY, **changes))


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def outside(fahrenheit: float, humidity_pct: float, *, co2_ppm: float = 420.0) -> OutsideAir:
    temperature_c = celsius(fahrenheit)
    ratio = air.ratio_from_humidity(temperature_c, humidity_pct, SEA_LEVEL_PA)
    return OutsideAir(temperature_c=temperature_c, ratio=ratio, co2_ppm=co2_ppm)


def run(
    subject: Room, state: RoomState, around: OutsideAir, drive: Drive, seconds: float, *, step_s: float = 10.0
) -> list[RoomState]:
    """States after each step, the first one included."""
    states = [state]
    for _ in range(round(seconds / step_s)):
        states.append(subject.advance(states[-1], around, drive, step_s))
    return states
