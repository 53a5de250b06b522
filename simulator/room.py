"""One well-mixed room: balances of heat, water and CO2, stepped over time.

Two masses hold heat: the air with what follows it quickly (racks, inner skin) and the blocks or packed
product. Water is in three places: vapour in the air, a film on floor and walls, and the blocks. Mist
that the air cannot take lands on the film; film and blocks give water back while the air is dry.

Simplifications: dry air in the room is constant, walls neither store nor pass water, the film has no heat
of its own (it is at air temperature), and blocks do not run out of water. One step is Heun's method (the
mean of the slopes at both ends) with the equipment held.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from simulator import air
from simulator.weather import OutsideAir

HEAT_OF_RESPIRATION_J_KG_CO2: Final = 10.6e6
"""Sugar burnt to CO2 and water: 2803 kJ/mol of glucose over six mol of CO2 of 44.01 g."""
CO2_KG_M3: Final = 1.84
"""About 1 bar and 20 C; from memory."""
RESPIRATION_DOUBLES_K: Final = 10.0
"""Common practice: living things burn about twice as fast per 10 K."""
BLOCK_WATER_ACTIVITY: Final = 0.99
FOG_SETTLES_S: Final = 60.0
FILM_DRAINS_S: Final = 600.0
MIST_WATER_C: Final = 12.0
MIST_LANDS_WITHIN_PCT: Final = 6.0
"""Nearer to saturation than this, more of the mist lands instead of evaporating; a working assumption."""
MIST_ALWAYS_LANDS: Final = 0.12
"""The share of mist that wets floor and racks in any air; a working assumption."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomSpec:
    """What a room is built of and filled with. Conductances of moisture are in kg of dry air a second."""

    volume_m3: float
    envelope_w_k: float
    quick_mass_j_k: float
    block_kg: float
    block_w_k: float
    """Heat that passes between air and blocks for each kelvin between them."""
    block_vapour_kg_s: float
    film_vapour_kg_s: float
    film_full_kg: float
    co2_ml_kg_h: float
    """CO2 that a kilogram of blocks gives off each hour at ``target_c``."""
    target_c: float
    pressure_pa: float
    block_j_kg_k: float = 3000.0
    equipment_w: float = 0.0
    """Lamps and motors that are always on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """What the equipment does to the room during one step."""

    air_changes_h: float
    mist_kg_s: float = 0.0
    heat_w: float = 0.0
    coil_air_kg_s: float = 0.0
    coil_c: float = 0.0


@dataclass(frozen=True, slots=True)
class RoomState:
    """The room at one moment."""

    air_c: float
    vapour_kg: float
    film_kg: float
    block_c: float
    co2_m3: float


@dataclass(frozen=True, slots=True)
class Waters:
    """Flows of water, kilograms a second. Film and block flows are negative while the air condenses."""

    misted: float
    landed: float
    from_film: float
    from_block: float
    fog: float
    to_coil: float
    drained: float
    ventilated: float


class Room:
    """The balances of one room."""

    def __init__(self, spec: RoomSpec) -> None:
        self.spec = spec
        self.dry_air_kg = air.dry_air_kg(spec.volume_m3, spec.target_c, spec.pressure_pa)

    def state(self, *, air_c: float, humidity_pct: float, co2_ppm: float, block_c: float) -> RoomState:
        """The room at given air, with a film half full."""
        ratio = air.ratio_from_humidity(air_c, humidity_pct, self.spec.pressure_pa)
        return RoomState(
            air_c,
            ratio * self.dry_air_kg,
            self.spec.film_full_kg / 2,
            block_c,
            co2_ppm * 1e-6 * self.spec.volume_m3,
        )

    def humidity_pct(self, state: RoomState) -> float:
        return air.humidity_pct(state.air_c, state.vapour_kg / self.dry_air_kg, self.spec.pressure_pa)

    def co2_ppm(self, state: RoomState) -> float:
        return state.co2_m3 / self.spec.volume_m3 * 1e6

    def respired_m3_s(self, block_c: float) -> float:
        """CO2 that all blocks give off."""
        warmth = math.pow(2.0, (block_c - self.spec.target_c) / RESPIRATION_DOUBLES_K)
        return self.spec.block_kg * self.spec.co2_ml_kg_h * 1e-6 / 3600 * warmth

    def waters(self, state: RoomState, outside: OutsideAir, drive: Drive) -> Waters:
        spec = self.spec
        ratio = state.vapour_kg / self.dry_air_kg
        saturated = air.saturation_ratio(state.air_c, spec.pressure_pa)
        dryness = min(1.0, max(0.0, (1 - ratio / saturated) * 100 / MIST_LANDS_WITHIN_PCT))
        taken_up = dryness * (1 - MIST_ALWAYS_LANDS)
        wet = min(1.0, state.film_kg / spec.film_full_kg) if saturated > ratio else 1.0
        coil_ratio = air.saturation_ratio(drive.coil_c, spec.pressure_pa) if drive.coil_air_kg_s else ratio
        block_ratio = air.saturation_ratio(state.block_c, spec.pressure_pa) * BLOCK_WATER_ACTIVITY
        return Waters(
            misted=drive.mist_kg_s * taken_up,
            landed=drive.mist_kg_s * (1 - taken_up),
            from_film=spec.film_vapour_kg_s * wet * (saturated - ratio),
            from_block=spec.block_vapour_kg_s * (block_ratio - ratio),
            fog=max(0.0, ratio - saturated) * self.dry_air_kg / FOG_SETTLES_S,
            to_coil=drive.coil_air_kg_s * max(0.0, ratio - coil_ratio),
            drained=max(0.0, state.film_kg - spec.film_full_kg) / FILM_DRAINS_S,
            ventilated=drive.air_changes_h / 3600 * self.dry_air_kg * (outside.ratio - ratio),
        )

    def slope(self, state: RoomState, outside: OutsideAir, drive: Drive) -> RoomState:
        """Change of every part of the state per second."""
        spec = self.spec
        water = self.waters(state, outside, drive)
        respired = self.respired_m3_s(state.block_c)
        to_air_w = spec.block_w_k * (state.block_c - state.air_c)
        block_w = (
            respired * CO2_KG_M3 * HEAT_OF_RESPIRATION_J_KG_CO2
            - to_air_w
            - water.from_block * air.vaporising_j_kg(state.block_c, state.block_c)
        )
        # What leaves a block is at block temperature and warms or cools the air it joins.
        carried_w = water.from_block * air.VAPOUR_J_KG_K * (state.block_c - state.air_c)
        air_w = to_air_w + carried_w + self._air_heat_w(state, outside, drive, water)
        air_j_k = spec.quick_mass_j_k + self.dry_air_kg * air.DRY_AIR_J_KG_K + state.vapour_kg * air.VAPOUR_J_KG_K
        vent_m3_s = drive.air_changes_h / 3600 * spec.volume_m3
        return RoomState(
            air_w / air_j_k,
            water.misted + water.from_film + water.from_block - water.fog - water.to_coil + water.ventilated,
            water.landed + water.fog - water.from_film - water.drained,
            block_w / (spec.block_kg * spec.block_j_kg_k),
            respired + vent_m3_s * outside.co2_ppm * 1e-6 - drive.air_changes_h / 3600 * state.co2_m3,
        )

    def _air_heat_w(self, state: RoomState, outside: OutsideAir, drive: Drive, water: Waters) -> float:
        spec = self.spec
        colder_k = outside.temperature_c - state.air_c
        fresh_kg_s = drive.air_changes_h / 3600 * self.dry_air_kg
        fresh_w = fresh_kg_s * (air.DRY_AIR_J_KG_K + outside.ratio * air.VAPOUR_J_KG_K) * colder_k
        coil_w = drive.coil_air_kg_s * air.DRY_AIR_J_KG_K * (drive.coil_c - state.air_c)
        drying_w = water.misted * air.vaporising_j_kg(state.air_c, MIST_WATER_C)
        drying_w += (water.from_film - water.fog) * air.vaporising_j_kg(state.air_c, state.air_c)
        return spec.envelope_w_k * colder_k + fresh_w + coil_w + drive.heat_w + spec.equipment_w - drying_w

    def advance(self, state: RoomState, outside: OutsideAir, drive: Drive, step_s: float) -> RoomState:
        """The room one step later."""
        first = self.slope(state, outside, drive)
        second = self.slope(_moved(state, first, step_s), outside, drive)
        half = step_s / 2
        return RoomState(
            state.air_c + half * (first.air_c + second.air_c),
            state.vapour_kg + half * (first.vapour_kg + second.vapour_kg),
            max(0.0, state.film_kg + half * (first.film_kg + second.film_kg)),
            state.block_c + half * (first.block_c + second.block_c),
            state.co2_m3 + half * (first.co2_m3 + second.co2_m3),
        )


def _moved(state: RoomState, slope: RoomState, seconds: float) -> RoomState:
    return RoomState(
        state.air_c + slope.air_c * seconds,
        state.vapour_kg + slope.vapour_kg * seconds,
        max(0.0, state.film_kg + slope.film_kg * seconds),
        state.block_c + slope.block_c * seconds,
        state.co2_m3 + slope.co2_m3 * seconds,
    )
