"""What to look at first when a limit is passed: what moved together with it.

The pattern is trade practice, without a single source: a fall in humidity alone points at
water, a fall with warmth at heat, warm and stale air together at the fan. Where the pattern does not separate,
nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from enum import StrEnum
from typing import Final

from rules.limits import Key
from rules.model import Quantity, Side


class Part(StrEnum):
    """What to look at first. The words for it are the wording's."""

    HUMIDIFIER = "humidifier"
    HUMIDIFIER_ON = "humidifier stuck on"
    HEAT = "heating or cooling"
    HEATER = "heater"
    OPENING = "door or damper"
    FAN = "fan or belt"
    COOLER = "cooler door or compressor"


_T, _H, _C = Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.CO2
_LOW, _HIGH = Side.LOW, Side.HIGH

_FIRST_CHECK: Final[Mapping[Key, tuple[tuple[frozenset[Key], frozenset[Quantity], Part], ...]]] = {
    # for each alarm: what else is beyond its limit, what must read normal, the first check
    (_H, _LOW): (
        (frozenset({(_T, _HIGH)}), frozenset(), Part.HEAT),
        (frozenset({(_T, _LOW)}), frozenset(), Part.OPENING),
        (frozenset(), frozenset({_T}), Part.HUMIDIFIER),
    ),
    (_H, _HIGH): (
        (frozenset({(_C, _HIGH)}), frozenset(), Part.FAN),
        (frozenset({(_T, _LOW)}), frozenset(), Part.HEATER),
        (frozenset(), frozenset({_T}), Part.HUMIDIFIER_ON),
    ),
    (_T, _LOW): (
        (frozenset({(_H, _LOW)}), frozenset(), Part.OPENING),
        (frozenset(), frozenset(), Part.HEATER),
    ),
    (_T, _HIGH): (
        (frozenset({(_C, _HIGH)}), frozenset(), Part.FAN),
        (frozenset(), frozenset(), Part.HEAT),
    ),
    (_C, _HIGH): ((frozenset(), frozenset(), Part.FAN),),
    (_C, _LOW): ((frozenset(), frozenset(), Part.OPENING),),
}


def first_check(
    alarm: Key, *, also_beyond: AbstractSet[Key], normal: AbstractSet[Quantity], cooler: bool = False
) -> Part | None:
    """The part to look at first; ``None`` when the pattern separates nothing.

    Args:
        alarm: the limit that was passed.
        also_beyond: other limits of the room that are passed at that moment.
        normal: quantities that read normal at that moment.
        cooler: the room is a packing cooler, where other parts fail.
    """
    if cooler and alarm == (_T, _HIGH):
        return Part.COOLER
    for beyond, must_be_normal, check in _FIRST_CHECK.get(alarm, ()):
        if beyond <= also_beyond and must_be_normal <= normal:
            return check
    return None
