"""The frozen values that all rules exchange.

Three habits keep mistakes out of the night:

* A moment is an ``Instant``: whole milliseconds since 1970-01-01T00:00Z. There is no naive time here
  and no zone; ``service.localtime`` turns instants into the farm's clock for people.
* A number carries its unit in its name or in its quantity (:data:`UNIT`).
* A value that cannot be true (not finite, outside 64-bit milliseconds) fails where it is made.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NewType, TypeAlias

Instant: TypeAlias = int
"""UTC milliseconds since 1970."""

ProbeId = NewType("ProbeId", str)
RoomId = NewType("RoomId", str)

SECOND_MS: Final = 1000
MINUTE_MS: Final = 60 * SECOND_MS
HOUR_MS: Final = 60 * MINUTE_MS
DAY_MS: Final = 24 * HOUR_MS

FIRST_INSTANT: Final[Instant] = 0
LAST_INSTANT: Final[Instant] = 253_402_300_799_999
"""9999-12-31T23:59:59.999Z: the last moment that both databases and ``datetime`` can hold."""


class Quantity(StrEnum):
    """What a probe measures, or what a contact reports (1 on, 0 off)."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    CO2 = "co2"
    BATTERY = "battery"
    SIGNAL = "signal"
    LIGHT = "light"
    BLOCK_CORE = "block_core"
    PRODUCT_CORE = "product_core"
    SOAK_WATER = "soak_water"
    SURFACE = "surface"
    AIR_PRESSURE = "air_pressure"
    DOOR = "door"
    MAINS = "mains"
    GENERATOR = "generator"
    AIRFLOW = "airflow"
    MISTING = "misting"
    WATER_PRESSURE = "water_pressure"
    TANK_LEVEL = "tank_level"


UNIT: Final[dict[Quantity, str]] = {
    Quantity.TEMPERATURE: "Cel",
    Quantity.HUMIDITY: "%RH",
    Quantity.CO2: "ppm",
    Quantity.BATTERY: "V",
    Quantity.SIGNAL: "dBm",
    Quantity.LIGHT: "lx",
    Quantity.BLOCK_CORE: "Cel",
    Quantity.PRODUCT_CORE: "Cel",
    Quantity.SOAK_WATER: "Cel",
    Quantity.SURFACE: "Cel",
    Quantity.AIR_PRESSURE: "Pa",
}
"""The unit a value is kept in (SenML names where one exists); a quantity without one is a contact."""

CONTACTS: Final = frozenset(Quantity) - frozenset(UNIT)
"""Quantities that are only on (1.0) or off (0.0)."""


class Side(StrEnum):
    """Which edge of a band or limit is meant; or the limits that hold for people in every room."""

    LOW = "low"
    HIGH = "high"
    PEOPLE = "people"


EDGES: Final = (Side.LOW, Side.HIGH)
"""The two sides of a band."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One value, measured by one probe at one moment. Its identity is the first three fields."""

    probe: ProbeId
    quantity: Quantity
    at_ms: Instant
    value: float

    def __post_init__(self) -> None:
        """Refuse a value or moment that cannot be stored or compared.

        Raises:
            ValueError: the value is not finite, or the moment lies outside the years 1970 to 9999.
        """
        if not math.isfinite(self.value):
            raise ValueError(f"reading of {self.probe}/{self.quantity} is not a finite number")
        if not FIRST_INSTANT <= self.at_ms <= LAST_INSTANT:
            raise ValueError(f"reading of {self.probe}/{self.quantity} has a time outside 1970 to 9999")
