"""Units as they come, brought to the one we keep.

Names are those of the SenML units registry: primary units from RFC 8428 sec. 12.1, secondary ones from RFC 8798
(their use is declared by version 26, RFC 9100). ``degF`` is ours, for the sources file only: SenML has no
Fahrenheit ("F" there is the farad), and we never guess it. "%" is refused everywhere: the registry says it is a
ratio where 1.0 is the whole, most people mean a hundredth, and CO2 differs by a factor of 100 between the two.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from rules.model import CONTACTS, UNIT, Quantity
from service.messages import Reason
from service.wire.unusable import UnusableError, quoted

FAHRENHEIT: Final = "degF"

SECONDARY: Final = frozenset({"ppm", "hPa", "mV", "dBm"})
"""Units that a SenML pack may use only when it says version 26. We read them anyway and count it."""

_ROUND_TO: Final = 9
"""Decimals kept after scaling, so that 0.57 of 1 is 57 %RH and not 56.99999999999999."""


class _Scale(NamedTuple):
    factor: float
    offset: float = 0.0


_TO_OWN: Final[dict[str, dict[str, _Scale]]] = {
    "Cel": {"Cel": _Scale(1), "K": _Scale(1, -273.15)},
    "%RH": {"%RH": _Scale(1), "/": _Scale(100)},
    "ppm": {"ppm": _Scale(1), "/": _Scale(1e6)},
    "V": {"V": _Scale(1), "mV": _Scale(1e-3)},
    "dBm": {"dBm": _Scale(1), "dBW": _Scale(1, 30)},
    "lx": {"lx": _Scale(1)},
    "Pa": {"Pa": _Scale(1), "hPa": _Scale(100)},
}


def units_for(quantity: Quantity) -> tuple[str, ...]:
    """Return the unit names that SenML may use for a quantity; a contact has only the bare ratio."""
    return ("/",) if quantity in CONTACTS else tuple(_TO_OWN[UNIT[quantity]])


def declared_units_for(quantity: Quantity) -> tuple[str, ...]:
    """Return the unit names that the sources file may declare."""
    return (*units_for(quantity), FAHRENHEIT) if UNIT.get(quantity) == "Cel" else units_for(quantity)


def check_unit(quantity: Quantity, unit: str | None) -> None:
    """Refuse a unit that SenML cannot mean for this quantity.

    A measured value must say its unit: SenML has a place for it, and without it 0.93 and 93, or 58 and 14, are one
    guess apart. A contact need not.

    Raises:
        UnusableError: no unit, or one that this quantity does not have.
    """
    if unit is None and quantity in CONTACTS:
        return
    if unit not in units_for(quantity):
        seen = "no unit given" if unit is None else f"unit {quoted(unit)}"
        raise UnusableError(Reason.UNIT, f"{quantity}: {seen}, known are {', '.join(units_for(quantity))}")


def to_own(quantity: Quantity, value: float, unit: str | None) -> float:
    """Bring a measured value to the unit it is kept in; None is that unit already."""
    own = UNIT[quantity]
    if unit in {None, own}:
        return value
    if unit == FAHRENHEIT:
        return round((value - 32) / 1.8, _ROUND_TO)
    scale = _TO_OWN[own][unit]
    return round(value * scale.factor + scale.offset, _ROUND_TO)
