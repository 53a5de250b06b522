"""The invented farm: place, climate, houses, fittings and probes. Nothing here is a real place or measurement.

Target airs lie inside the bands that growers' literature gives for each crop; sizes and rates are working
assumptions in the range of a small specialty farm.
"""

from __future__ import annotations

from typing import Final

from simulator import air
from simulator.equipment import Door, FreshAirFan, Heater
from simulator.faults import Fault, FaultKind
from simulator.house import House, crew_visits, growing_house, growing_spec
from simulator.probe import ProbeSpec, Sense
from simulator.room import RoomSpec
from simulator.weather import DAY_S, Climate

INVENTED: Final = "invented data"
FARM_ID: Final = "lanternfold"
FARM_NAME: Final = "Lanternfold Mushrooms"
PLACE: Final = "Ostrel Hollow, an invented valley"
ZONE: Final = "America/New_York"
"""The IANA zone whose clock the invented valley keeps."""
SUN_OFFSET_S: Final = -5 * 3600
ALTITUDE_M: Final = 310.0
DEMO_EVENING_MS: Final = 1_794_970_200_000
"""2026-11-17 21:50 in the zone above: where the demo's farm clock starts."""

CLIMATE: Final = Climate(
    mean_c=0.5,
    day_swing_c=4.0,
    wander_c=1.5,
    mean_dew_point_c=-7.0,
    wander_dew_point_c=1.5,
    co2_ppm=425.0,
    sun_offset_s=SUN_OFFSET_S,
)

_PRESSURE_PA: Final = air.pressure_pa(ALTITUDE_M)


def _steady_fan(from_ppm: float, to_ppm: float) -> FreshAirFan:
    return FreshAirFan(low_h=1.6, high_h=4.0, from_ppm=from_ppm, to_ppm=to_ppm)


_INCUBATION: Final = House(
    room_id="incubation",
    text_name="Incubation",
    kind="incubation",
    species="shiitake",
    stage="incubation",
    spec=RoomSpec(
        volume_m3=300.0,
        envelope_w_k=180.0,
        quick_mass_j_k=2.0e6,
        block_kg=9000.0,
        block_w_k=600.0,
        block_vapour_kg_s=0.01,
        film_vapour_kg_s=0.03,
        film_full_kg=2.0,
        co2_ml_kg_h=28.0,
        target_c=23.0,
        pressure_pa=_PRESSURE_PA,
        equipment_w=200.0,
    ),
    leak_h=0.3,
    door=Door(open_h=6.0, visits=crew_visits(6)),
    fan=FreshAirFan(low_h=0.6, high_h=3.0, from_ppm=1500.0, to_ppm=2500.0, duty=0.8, period_s=900),
    heater=Heater(full_w=12_000.0, target_c=23.0),
    cooling_of=(0.6, 12.0, 24.5, 25.5),
    mist_of=(5.0, 73.0, 76.0),
    start_humidity_pct=74.0,
)

_COOLER: Final = House(
    room_id="cooler",
    text_name="Cooler",
    kind="packing cooler",
    species=None,
    stage=None,
    spec=RoomSpec(
        volume_m3=80.0,
        envelope_w_k=25.0,
        quick_mass_j_k=0.4e6,
        block_kg=1500.0,
        block_w_k=350.0,
        block_vapour_kg_s=0.25,
        film_vapour_kg_s=0.2,
        film_full_kg=1.0,
        co2_ml_kg_h=16.0,
        target_c=2.0,
        pressure_pa=_PRESSURE_PA,
        block_j_kg_k=3900.0,
        equipment_w=150.0,
    ),
    leak_h=0.3,
    door=Door(open_h=8.0, visits=((7 * 3600 + 1800, 60), (11 * 3600, 90), (15 * 3600 + 900, 90))),
    fan=None,
    heater=None,
    cooling_of=(0.4, -2.5, 1.2, 2.4),
    mist_of=None,
    start_humidity_pct=92.0,
    hall=(12.0, 55.0),
)


def _spec(*, size: float, target_c: float, co2_ml_kg_h: float) -> RoomSpec:
    return growing_spec(size=size, target_c=target_c, co2_ml_kg_h=co2_ml_kg_h, pressure_pa=_PRESSURE_PA)


HOUSES: Final = (
    growing_house(
        1,
        species="shiitake",
        stage="pinning",
        spec=_spec(size=1.0, target_c=15.0, co2_ml_kg_h=16.0),
        mist=(20.0, 95.5, 97.5),
        fan=_steady_fan(800.0, 1000.0),
    ),
    growing_house(
        2,
        species="shiitake",
        stage="fruiting",
        spec=_spec(size=1.2, target_c=15.5, co2_ml_kg_h=16.0),
        mist=(17.0, 85.5, 88.0),
        fan=_steady_fan(750.0, 1000.0),
    ),
    growing_house(
        3,
        species="nameko",
        stage="fruiting",
        spec=_spec(size=0.7, target_c=15.0, co2_ml_kg_h=20.0),
        mist=(11.0, 91.5, 93.5),
        fan=_steady_fan(900.0, 1200.0),
    ),
    growing_house(
        4,
        species="pioppino",
        stage="fruiting",
        spec=_spec(size=0.8, target_c=15.5, co2_ml_kg_h=30.0),
        mist=(13.0, 91.0, 94.0),
        fan=FreshAirFan(low_h=1.6, high_h=4.0, from_ppm=1300.0, to_ppm=2000.0, duty=0.75, period_s=480),
    ),
    growing_house(
        5,
        species="chestnut",
        stage="fruiting",
        spec=_spec(size=0.6, target_c=15.0, co2_ml_kg_h=18.0),
        mist=(10.0, 91.0, 93.5),
        fan=_steady_fan(850.0, 1200.0),
    ),
    _INCUBATION,
    _COOLER,
)
OUTSIDE_ID: Final = "outside"
OUTSIDE_TEXT_NAME: Final = "Outside"

_BREATH: Final = Sense(lag_s=60.0, noise=6.0, resolution=1.0)


def _probe(number: int, room_id: str, place: str, *, warmer: float, damper: float) -> ProbeSpec:
    senses = {
        "temperature": Sense(lag_s=45.0, noise=0.03, resolution=0.1, offset=warmer),
        "humidity": Sense(lag_s=40.0, noise=0.25, resolution=0.1, offset=damper),
        "co2": _BREATH,
    }
    if room_id in {"cooler", OUTSIDE_ID}:
        del senses["co2"]
    probe_id = f"lf-{number:02d}"
    return ProbeSpec(
        probe_id=probe_id, room_id=room_id, place=place, senses=senses, phase_s=number * 7 % 60 // 10 * 10
    )


PROBES: Final = (
    _probe(1, "house-1", "door end", warmer=-0.2, damper=-0.8),
    _probe(2, "house-1", "middle", warmer=0.1, damper=0.2),
    _probe(3, "house-2", "middle", warmer=0.0, damper=0.3),
    _probe(4, "house-3", "middle", warmer=0.1, damper=-0.2),
    _probe(5, "house-4", "middle", warmer=-0.1, damper=0.1),
    _probe(6, "house-5", "middle", warmer=0.0, damper=0.4),
    _probe(7, "incubation", "top rack", warmer=0.3, damper=-0.5),
    _probe(8, "cooler", "back wall", warmer=0.1, damper=0.0),
    _probe(9, OUTSIDE_ID, "north wall", warmer=0.0, damper=0.0),
)


def last_night_fault(anchor_ms: int) -> Fault:
    """The bad stretch to look at: House 3 without mist from 02:10 to 03:00 of the last night that is over."""
    midnight_ms = (anchor_ms // 1000 + SUN_OFFSET_S) // DAY_S * DAY_S * 1000 - SUN_OFFSET_S * 1000
    start_ms = midnight_ms + (2 * 60 + 10) * 60_000
    if start_ms + 50 * 60_000 > anchor_ms:
        start_ms -= DAY_S * 1000
    return Fault(kind=FaultKind.HUMIDIFIER, target="house-3", start_ms=start_ms, end_ms=start_ms + 50 * 60_000)
