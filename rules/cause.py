"""What to look at first when a limit is passed: what moved together with it.

Taken from the pattern table of our job map (trade practice, no single source): a fall in humidity alone points at
water, a fall with warmth at heat, warm and stale air together at the fan. Where the pattern does not separate,
nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from typing import Final

from rules.limits import Key
from rules.model import Quantity, Side

_T, _H, _C = Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.CO2
_LOW, _HIGH = Side.LOW, Side.HIGH

_FIRST_CHECK: Final[Mapping[Key, tuple[tuple[frozenset[Key], frozenset[Quantity], str], ...]]] = {
    # for each alarm: what else is beyond its limit, what must read normal, the first check
    (_H, _LOW): (
        (frozenset({(_T, _HIGH)}), frozenset(), "heater, cooling"),
        (frozenset({(_T, _LOW)}), frozenset(), "door, damper"),
        (frozenset(), frozenset({_T}), "humidifier"),
    ),
    (_H, _HIGH): (
        (frozenset({(_C, _HIGH)}), frozenset(), "fan belt, damper"),
        (frozenset(), frozenset({_T}), "humidifier stuck on"),
    ),
    (_T, _LOW): (
        (frozenset({(_H, _LOW)}), frozenset(), "door, damper"),
        (frozenset(), frozenset(), "heater"),
    ),
    (_T, _HIGH): (
        (frozenset({(_C, _HIGH)}), frozenset(), "fan belt, damper"),
        (frozenset(), frozenset(), "cooling, heater"),
    ),
    (_C, _HIGH): ((frozenset(), frozenset(), "fan belt, damper"),),
    (_C, _LOW): ((frozenset(), frozenset(), "door, damper"),),
}


def first_check(
    alarm: Key, *, also_beyond: AbstractSet[Key], normal: AbstractSet[Quantity], cooler: bool = False
) -> str | None:
    """The part to look at first, in trade words; ``None`` when the pattern separates nothing.

    Args:
        alarm: the limit that was passed.
        also_beyond: other limits of the room that are passed at that moment.
        normal: quantities that read normal at that moment.
        cooler: the room is a packing cooler, where other parts fail.
    """
    if cooler and alarm == (_T, _HIGH):
        return "door, compressor"
    for beyond, must_be_normal, check in _FIRST_CHECK.get(alarm, ()):
        if beyond <= also_beyond and must_be_normal <= normal:
            return check
    return None
