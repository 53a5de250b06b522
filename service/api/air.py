"""What temperature and humidity say together, as answers."""

from __future__ import annotations

from typing import Final

from pydantic import Field

from service.api.fields import Answered
from service.reports.air import Air

DIGITS: Final = 4
"""Enough that nothing is lost, and no noise of arithmetic is shown."""


class Banded(Answered):
    """A figure, and between what it lies as the probe may be off."""

    value: float
    low: float
    high: float
    decimals: int = Field(description="Digits after the point that the probe's error leaves meaningful.")


class AirHere(Answered):
    """The air at the driest place of the room."""

    probe_id: str
    place: str
    temperature: float = Field(description="Cel")
    temperature_is_borrowed: bool = Field(
        description="The probe measures humidity alone: the mean of the room's other probes was taken."
    )
    humidity: float = Field(description="%RH; above 100 counts as 100.")
    drying_power: Banded = Field(description="kPa that are missing to saturation.")
    dew_point: Banded | None = Field(description="Cel; below 0.01 the frost point. None in bone-dry air.")
    wet_bulb: float | None = Field(description="Cel, at the air pressure usual at the farm's altitude.")
    moisture: float = Field(description="g of water vapour in a cubic metre of air.")


def air_here(air: Air) -> AirHere:
    """The air of a room as an answer."""
    power, dew_point = air.drying_power, air.dew_point
    return AirHere(
        probe_id=air.probe,
        place=air.place,
        temperature=round(air.temperature_c, DIGITS),
        temperature_is_borrowed=air.borrowed,
        humidity=air.humidity_percent,
        drying_power=banded(power.value, power.low, power.high, power.decimals),
        dew_point=None
        if dew_point is None
        else banded(dew_point.value, dew_point.low, dew_point.high, dew_point.decimals),
        wet_bulb=None if air.wet_bulb_c is None else round(air.wet_bulb_c, DIGITS),
        moisture=round(air.moisture_g_per_m3, DIGITS),
    )


def banded(value: float, low: float, high: float, decimals: int) -> Banded:
    """A figure with its band."""
    return Banded(value=round(value, DIGITS), low=round(low, DIGITS), high=round(high, DIGITS), decimals=decimals)
