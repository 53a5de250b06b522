"""What a room of the farm is: its names, what grows there, and how to build and start it.

Sizes and rates are working assumptions in the range of a small specialty farm.
"""

from __future__ import annotations

from dataclasses import dataclass

from simulator.equipment import Cooling, Door, Fittings, FreshAirFan, Heater, Humidifier
from simulator.room import RoomSpec


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """One room of the farm: names, what grows there, and how to build and start it."""

    room_id: str
    text_name: str
    """At most 12 characters: it goes into texts."""
    kind: str
    species: str | None
    stage: str | None
    spec: RoomSpec
    leak_h: float
    door: Door
    fan: FreshAirFan | None
    heater: Heater | None
    cooling_of: tuple[float, float, float, float] | None
    mist_of: tuple[float, float, float] | None
    start_humidity_pct: float
    hall: tuple[float, float] | None = None

    def fittings(self) -> Fittings:
        """Fresh fittings for one run: humidifier and cooling remember whether they are on."""
        mist, cool = self.mist_of, self.cooling_of
        return Fittings(
            leak_h=self.leak_h,
            door=self.door,
            fan=self.fan,
            heater=self.heater,
            hall=self.hall,
            humidifier=mist and Humidifier(rate_kg_h=mist[0], on_below_pct=mist[1], off_above_pct=mist[2]),
            cooling=cool
            and Cooling(
                air_kg_s=cool[0],
                coil_c=cool[1],
                off_below_c=cool[2],
                on_above_c=cool[3],
                defrost_every_s=6 * 3600 if self.kind == "packing cooler" else 0,
                defrost_s=20 * 60,
                defrost_w=300.0,
            ),
        )


def crew_visits(first: int) -> tuple[tuple[int, int], ...]:
    """The crew's morning and evening round: the door stands open for most of a minute."""
    return ((7 * 3600 + first * 240, 50), (16 * 3600 + 1800 + first * 240, 50))


def growing_spec(*, size: float, target_c: float, co2_ml_kg_h: float, pressure_pa: float) -> RoomSpec:
    """A house of ``size`` times 360 m3 with 5000 blocks of 2.3 kg."""
    return RoomSpec(
        volume_m3=360.0 * size,
        envelope_w_k=300.0 * size,
        quick_mass_j_k=2.4e6 * size,
        block_kg=11_400.0 * size,
        block_w_k=3000.0 * size,
        block_vapour_kg_s=0.15 * size,
        film_vapour_kg_s=0.4 * size,
        film_full_kg=12.0 * size,
        co2_ml_kg_h=co2_ml_kg_h,
        target_c=target_c,
        pressure_pa=pressure_pa,
        equipment_w=300.0 * size,
    )


def growing_house(
    number: int,
    *,
    species: str,
    stage: str,
    spec: RoomSpec,
    mist: tuple[float, float, float],
    fan: FreshAirFan,
) -> House:
    """A fruiting house; ``mist`` is kg/h, on below (%), off above (%)."""
    return House(
        room_id=f"house-{number}",
        text_name=f"House {number}",
        kind="fruiting",
        species=species,
        stage=stage,
        spec=spec,
        leak_h=0.4,
        door=Door(open_h=6.0, visits=crew_visits(number)),
        fan=fan,
        heater=Heater(full_w=spec.envelope_w_k * 87, target_c=spec.target_c),
        cooling_of=None,
        mist_of=mist,
        start_humidity_pct=(mist[1] + mist[2]) / 2,
    )
