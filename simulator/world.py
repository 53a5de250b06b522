"""The farm in motion: weather, rooms, fittings, faults and probes stepped together."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from simulator import air, farm
from simulator.equipment import Fittings
from simulator.faults import FaultBook, FaultKind
from simulator.house import House
from simulator.probe import Measured, Probe, ProbeSpec
from simulator.room import Drive, Room, RoomState
from simulator.weather import OutsideAir, Weather, second_of_day

STEP_S: Final = 10
SETTLING_MS: Final = 4 * 3600 * 1000
"""A room starts from a guess; it runs this long unheard before the first reading."""

Going = frozenset[tuple[FaultKind, str]]


class RunningRoom:
    """One room with its fittings."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.room = Room(house.spec)
        self.fittings: Fittings = house.fittings()
        self.state: RoomState = self.room.state(
            air_c=house.spec.target_c,
            humidity_pct=house.start_humidity_pct,
            co2_ppm=700.0,
            block_c=house.spec.target_c + 0.3,
        )

    def drive(self, at_ms: int, going: Going) -> Drive:
        """What the fittings do now, from the air they feel and the faults that hold."""
        fit, name, state = self.fittings, self.house.room_id, self.state
        second = at_ms // 1000
        door_h = fit.door.air_changes_h(
            second_of_day(at_ms, farm.SUN_OFFSET_S), left_open=(FaultKind.DOOR, name) in going
        )
        fan_h = mist_kg_s = heat_w = 0.0
        if fit.fan is not None:
            broken = (FaultKind.FAN, name) in going
            fan_h = fit.fan.air_changes_h(self.room.co2_ppm(state), second, broken=broken)
        if fit.humidifier is not None:
            broken = (FaultKind.HUMIDIFIER, name) in going
            mist_kg_s = fit.humidifier.mist_kg_s(self.room.humidity_pct(state), broken=broken)
        if fit.heater is not None:
            heat_w = fit.heater.heat_w(state.air_c, broken=(FaultKind.HEATER, name) in going)
        drive = Drive(air_changes_h=fit.leak_h + door_h + fan_h, mist_kg_s=mist_kg_s, heat_w=heat_w)
        return self._cooled(drive, second)

    def _cooled(self, drive: Drive, second: int) -> Drive:
        cooling = self.fittings.cooling
        if cooling is None:
            return drive
        defrost_w = cooling.defrost_w if cooling.defrosting(second) else 0.0
        return replace(
            drive,
            coil_air_kg_s=cooling.coil_air_kg_s(self.state.air_c, second),
            coil_c=cooling.coil_c,
            heat_w=drive.heat_w + defrost_w,
        )

    def around(self, outside: OutsideAir) -> OutsideAir:
        """The air that surrounds the room: outside, or an indoor hall."""
        if self.fittings.hall is None:
            return outside
        hall_c, hall_pct = self.fittings.hall
        ratio = air.ratio_from_humidity(hall_c, hall_pct, self.house.spec.pressure_pa)
        return OutsideAir(temperature_c=hall_c, ratio=ratio, co2_ppm=outside.co2_ppm + 150)

    def truth(self) -> dict[str, float]:
        """The air as it is, before any probe looks at it."""
        return {
            "temperature": self.state.air_c,
            "humidity": self.room.humidity_pct(self.state),
            "co2": self.room.co2_ppm(self.state),
        }


class World:
    """Everything between two moments. ``step_s`` may differ from run to run; physics must not care."""

    def __init__(
        self,
        *,
        first_reading_ms: int,
        faults: FaultBook,
        seed: int = 1,
        step_s: int = STEP_S,
        houses: tuple[House, ...] = farm.HOUSES,
        probes: tuple[ProbeSpec, ...] = farm.PROBES,
    ) -> None:
        self.faults = faults
        self.rooms = {house.room_id: RunningRoom(house) for house in houses}
        self._pressure_pa = air.pressure_pa(farm.ALTITUDE_M)
        self._weather = Weather(farm.CLIMATE, self._pressure_pa, seed)
        self._probes = [Probe(spec, seed) for spec in probes if spec.room_id in {*self.rooms, farm.OUTSIDE_ID}]
        self._step_ms = step_s * 1000
        self.now_ms = (first_reading_ms - SETTLING_MS) // self._step_ms * self._step_ms
        self.advance(first_reading_ms)

    @property
    def next_step_ms(self) -> int:
        return self.now_ms + self._step_ms

    def advance(self, until_ms: int) -> list[Measured]:
        """Step up to a moment (never past it) and return what the probes measured on the way."""
        measured: list[Measured] = []
        while self.next_step_ms <= until_ms:
            measured += self._step()
        return measured

    def truths(self) -> dict[str, dict[str, float]]:
        """The air of every room and outside as it is now."""
        outside = self._weather.at(self.now_ms)
        truths = {name: room.truth() for name, room in self.rooms.items()}
        truths[farm.OUTSIDE_ID] = {
            "temperature": outside.temperature_c,
            "humidity": air.humidity_pct(outside.temperature_c, outside.ratio, self._pressure_pa),
            "co2": outside.co2_ppm,
        }
        return truths

    def _step(self) -> list[Measured]:
        before_ms, step_s = self.now_ms, self._step_ms / 1000
        going = self.faults.going_at(before_ms)
        outside = self._weather.at(before_ms + self._step_ms // 2)
        for room in self.rooms.values():
            drive = room.drive(before_ms, going)
            room.state = room.room.advance(room.state, room.around(outside), drive, step_s)
        self.now_ms += self._step_ms
        return self._measured(before_ms, going)

    def _measured(self, before_ms: int, going: Going) -> list[Measured]:
        truths, step_s = self.truths(), self._step_ms / 1000
        measured: list[Measured] = []
        for probe in self._probes:
            probe.feel(truths[probe.spec.room_id], step_s)
            at_ms = probe.due(before_ms, self.now_ms)
            if at_ms is not None:
                sticks = (FaultKind.PROBE, probe.spec.probe_id) in going
                measured += probe.measure(at_ms, sticks=sticks)
        return measured
