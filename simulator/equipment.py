"""What a house is fitted with, each piece with its own simple control.

A piece is asked once a step what it does now, told the air of the room and whether it is broken.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True, kw_only=True)
class Humidifier:
    """Mists at full rate between two humidities, as a humidistat switches it."""

    rate_kg_h: float
    on_below_pct: float
    off_above_pct: float
    running: bool = False

    def mist_kg_s(self, humidity_pct: float, *, broken: bool) -> float:
        if humidity_pct < self.on_below_pct:
            self.running = True
        elif humidity_pct > self.off_above_pct:
            self.running = False
        return self.rate_kg_h / 3600 if self.running and not broken else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heater:
    """A hot-water coil whose valve opens in proportion to the cold."""

    full_w: float
    target_c: float
    range_k: float = 1.0
    """The valve goes from shut to open over this range, centred on the target."""

    def heat_w(self, air_c: float, *, broken: bool) -> float:
        if broken:
            return 0.0
        opening = (self.target_c - air_c) / self.range_k + 0.5
        return self.full_w * min(1.0, max(0.0, opening))


@dataclass(frozen=True, slots=True, kw_only=True)
class FreshAirFan:
    """Fresh air in air changes an hour: never less than ``low``, more as CO2 rises; by duty if asked.

    With ``duty`` the fan runs that share of every ``period_s`` and stands for the rest.
    """

    low_h: float
    high_h: float
    from_ppm: float
    to_ppm: float
    duty: float = 1.0
    period_s: int = 600

    def air_changes_h(self, co2_ppm: float, second: int, *, broken: bool) -> float:
        if broken or second % self.period_s >= self.duty * self.period_s:
            return 0.0
        share = min(1.0, max(0.0, (co2_ppm - self.from_ppm) / (self.to_ppm - self.from_ppm)))
        return self.low_h + share * (self.high_h - self.low_h)


@dataclass(slots=True, kw_only=True)
class Cooling:
    """A cold coil that takes heat and water out of the air blown over it, with a thermostat and defrosts."""

    air_kg_s: float
    coil_c: float
    on_above_c: float
    off_below_c: float
    defrost_every_s: int = 0
    defrost_s: int = 0
    defrost_w: float = 0.0
    """The part of the defrost heat that reaches the room."""
    running: bool = False

    def defrosting(self, second: int) -> bool:
        return self.defrost_every_s > 0 and second % self.defrost_every_s < self.defrost_s

    def coil_air_kg_s(self, air_c: float, second: int) -> float:
        if air_c > self.on_above_c:
            self.running = True
        elif air_c < self.off_below_c:
            self.running = False
        return self.air_kg_s if self.running and not self.defrosting(second) else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """Air changes an hour through the open door, and when the crew uses it (second of day, seconds)."""

    open_h: float
    visits: tuple[tuple[int, int], ...] = ()

    def air_changes_h(self, second_of_day: int, *, left_open: bool) -> float:
        opened = left_open or any(0 <= second_of_day - start < lasts for start, lasts in self.visits)
        return self.open_h if opened else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fittings:
    """All that one room is fitted with; leak is the air change through cracks."""

    leak_h: float
    door: Door
    fan: FreshAirFan | None = None
    humidifier: Humidifier | None = None
    heater: Heater | None = None
    cooling: Cooling | None = None
    hall: tuple[float, float] | None = field(default=None)
    """Temperature (C) and humidity (%) of an indoor hall around the room; None for outside air."""
