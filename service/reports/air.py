"""What temperature and humidity of a room say together, now: drying power and dew point, each with its band."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from statistics import fmean
from typing import Final, TypeVar

from rules.derive import absolute_humidity_g_per_m3, pressure_pa, wet_bulb_c
from rules.drying import Accuracy, Estimate, dew_point, drying_power
from rules.holding import spoken
from rules.model import Instant, ProbeId, Quantity, Reading
from rules.profile_limits import probe_accuracy

BORROWED_OFF_K: Final = 1.0
"""How far the air at one place may differ from that at another of the same room (our judgement)."""
_SATURATED: Final = 100.0

Figure = TypeVar("Figure")


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The air at the driest place of a room."""

    probe: ProbeId
    place: str
    several: bool
    """True where other places were compared: the place is then worth naming."""
    temperature_c: float
    borrowed: bool
    """The probe measures humidity alone: the temperature is the mean of what others in the room show."""
    humidity_percent: float
    drying_power: Estimate
    """In kPa."""
    dew_point: Estimate | None
    """In degC; ``None`` where the air may be too dry to have one."""
    wet_bulb_c: float | None
    """At the air pressure that is usual at the farm's altitude; ``None`` in steam, or as the dew point."""
    moisture_g_per_m3: float


def air_now(
    readings: Iterable[Reading], *, places: Mapping[str, str], altitude_m: float, now_ms: Instant
) -> Air | None:
    """The air where it dries most; ``None`` while no probe holds a humidity, or none a temperature."""
    by_quantity: dict[Quantity, list[Reading]] = {Quantity.TEMPERATURE: [], Quantity.HUMIDITY: []}
    for reading in readings:
        if reading.quantity in by_quantity and reading.at_ms <= now_ms:
            by_quantity[reading.quantity].append(reading)
    warm, damp = (_held(by_quantity[q], now_ms) for q in (Quantity.TEMPERATURE, Quantity.HUMIDITY))
    if not warm:
        return None
    found = [
        _air(
            probe,
            temperature_c=warm.get(probe, fmean(warm.values())),
            humidity_percent=min(humidity, _SATURATED),
            borrowed=probe not in warm,
            several=len(damp) > 1,
            place=places.get(probe, ""),
            altitude_m=altitude_m,
        )
        for probe, humidity in sorted(damp.items())
    ]
    return max(found, key=lambda air: air.drying_power.value, default=None)


def _held(readings: Iterable[Reading], now_ms: Instant) -> dict[ProbeId, float]:
    """What each probe says at this moment."""
    found: dict[ProbeId, float] = {}
    for probe, changes in spoken(readings).items():
        *_, (_, value) = (change for change in changes if change[0] <= now_ms)
        if value is not None:
            found[probe] = value
    return found


def _air(
    probe: ProbeId,
    *,
    temperature_c: float,
    humidity_percent: float,
    borrowed: bool,
    several: bool,
    place: str,
    altitude_m: float,
) -> Air:
    accuracy = Accuracy(
        humidity_percent=probe_accuracy(Quantity.HUMIDITY, humidity_percent),
        temperature_k=probe_accuracy(Quantity.TEMPERATURE, temperature_c) + (BORROWED_OFF_K if borrowed else 0.0),
    )
    return Air(
        probe=probe,
        place=place,
        several=several,
        temperature_c=temperature_c,
        borrowed=borrowed,
        humidity_percent=humidity_percent,
        drying_power=drying_power(temperature_c, humidity_percent, accuracy),
        dew_point=_if_there_is(lambda: dew_point(temperature_c, humidity_percent, accuracy)),
        wet_bulb_c=_if_there_is(lambda: wet_bulb_c(temperature_c, humidity_percent, pressure_pa(altitude_m))),
        moisture_g_per_m3=absolute_humidity_g_per_m3(temperature_c, humidity_percent),
    )


def _if_there_is(figure: Callable[[], Figure]) -> Figure | None:
    """Steam has no wet bulb, and bone-dry air no dew point; a probe may show either."""
    try:
        return figure()
    except ValueError:
        return None
