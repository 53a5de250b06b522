"""Whether a value, or a time, can be true at all. One reading at a time, without memory.

What needs memory is judged elsewhere: a probe stuck at 99.9 %RH sends a value that a fruiting house reaches on
a good day, and 85 %RH is ordinary although 85 Cel is what a common digital thermometer says before it has
measured.
"""

from __future__ import annotations

from typing import Final

from rules.model import FIRST_INSTANT, LAST_INSTANT, MINUTE_MS, UNIT, Instant, Quantity
from service.messages import Reason
from service.wire.unusable import UnusableError

AHEAD_ALLOWED_MS: Final = 5 * MINUTE_MS
YEAR_2000: Final[Instant] = 946_684_800_000
"""A clock that says less has lost its time: probes restart in 1970, some gateways in 1980."""

_FULL_REGISTERS: Final = (655.35, 6553.5, 65535.0)
"""Sixteen bits all set, at the three scales that probes send: "no measurement"."""

_THERMOMETER: Final = (-127.0, -40.0, 85.0, 127.9, *_FULL_REGISTERS)
_SENTINELS: Final[dict[str, tuple[float, ...]]] = {  # common practice
    "Cel": _THERMOMETER,
    "%RH": (0.0, 127.9, *_FULL_REGISTERS),
    "ppm": (0.0, *_FULL_REGISTERS[-1:]),
    "V": (0.0, *_FULL_REGISTERS),
}
_SENTINEL_WIDTH: Final = 0.005
"""Sentinels are compared after conversion, so 185.0 degF is 85 Cel; ours is a little more than float noise."""

_AIR: Final = (-60.0, 110.0)
_CORE: Final = (-60.0, 150.0)
_POSSIBLE: Final[dict[Quantity, tuple[float, float]]] = {
    # A steam-off holds a house at 66 Cel and more; open steam cannot pass 100 by much.
    Quantity.TEMPERATURE: _AIR,
    Quantity.SURFACE: _AIR,
    Quantity.SOAK_WATER: _AIR,
    # A core may be in a steriliser, where 121 Cel is usual.
    Quantity.BLOCK_CORE: _CORE,
    Quantity.PRODUCT_CORE: _CORE,
    # At or under 1 it is a fraction sent as a percentage; no farm's air is that dry.
    Quantity.HUMIDITY: (1.0, 105.0),
    # Outdoor air has about 420. Above 210,000 more was breathed out than there was oxygen to breathe.
    Quantity.CO2: (50.0, 210_000.0),
    Quantity.BATTERY: (0.0, 100.0),
    Quantity.SIGNAL: (-200.0, 50.0),
    Quantity.LIGHT: (0.0, 200_000.0),
    # From well above the highest farm to well above the highest barometer.
    Quantity.AIR_PRESSURE: (30_000.0, 120_000.0),
}
_SATURATED: Final = 100.0


def believable(quantity: Quantity, value: float) -> tuple[float, tuple[str, ...]]:
    """Return the value to keep, in our unit, and oddities worth counting.

    Raises:
        UnusableError: a sentinel, or not possible.
    """
    unit = UNIT[quantity]
    if any(abs(value - sentinel) < _SENTINEL_WIDTH for sentinel in _SENTINELS.get(unit, ())):
        raise UnusableError(Reason.SENTINEL, f"{quantity} {value:g} {unit}")
    low, high = _POSSIBLE[quantity]
    if not low <= value <= high or (quantity is Quantity.HUMIDITY and value == low):
        raise UnusableError(Reason.IMPOSSIBLE, f"{quantity} {value:g} {unit}, possible is {low:g} to {high:g}")
    if quantity is Quantity.HUMIDITY and value > _SATURATED:
        # A wet film overshoots by a few points; refusing it would make a probe silent just when air is wettest.
        return _SATURATED, ("humidity above 100 %RH kept as 100",)
    return value, ()


def contact_state(quantity: Quantity, number: float) -> float:
    """Return 1.0 for on and 0.0 for off.

    Raises:
        UnusableError: any other number.
    """
    if number not in {0.0, 1.0}:
        raise UnusableError(Reason.IMPOSSIBLE, f"{quantity} is on (1) or off (0), not {number:g}")
    return number


def check_time(at_ms: int, received_ms: Instant) -> None:
    """Refuse a time measured that cannot be stored or cannot be right.

    Raises:
        UnusableError: outside 1970 to 9999, before 2000, or more than five minutes ahead of ours.
    """
    if not FIRST_INSTANT <= at_ms <= LAST_INSTANT:
        raise UnusableError(Reason.TIME_RANGE, "outside the years 1970 to 9999")
    if at_ms < YEAR_2000:
        raise UnusableError(Reason.CLOCK_WRONG, "time measured is before the year 2000")
    ahead_ms = at_ms - received_ms
    if ahead_ms > AHEAD_ALLOWED_MS:
        raise UnusableError(Reason.TIME_AHEAD, f"{ahead_ms / MINUTE_MS:.1f} min ahead")
