"""The units people read, and how to get there from the units we keep.

Kept is the unit of ``rules.model.UNIT``. Shown is metric or US customary, per person. A difference has no zero
point: one degree Celsius more is 1.8 degrees Fahrenheit more, never 33.8.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from rules.model import CONTACTS, Quantity

Units = Literal["metric", "us"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How one quantity is shown: ``shown = kept * factor + offset``, rounded to ``decimals``."""

    page_unit: str
    """With its leading space where print wants one, such as " ppm"."""
    text_unit: str
    """The same in the alphabet of text messages: no degree sign."""
    decimals: int
    factor: float = 1.0
    offset: float = 0.0

    def convert(self, value: float) -> float:
        return value * self.factor + self.offset

    def convert_difference(self, difference: float) -> float:
        return difference * self.factor


_CELSIUS: Final = Scale(page_unit=" °C", text_unit="C", decimals=1)
_FAHRENHEIT: Final = Scale(page_unit=" °F", text_unit="F", decimals=0, factor=1.8, offset=32.0)
_TEMPERATURES: Final = frozenset(
    {
        Quantity.TEMPERATURE,
        Quantity.BLOCK_CORE,
        Quantity.PRODUCT_CORE,
        Quantity.SOAK_WATER,
        Quantity.SURFACE,
    }
)
_HECTOPASCAL: Final = Scale(page_unit=" hPa", text_unit=" hPa", decimals=0, factor=0.01)
_INCH_OF_MERCURY: Final = Scale(page_unit=" inHg", text_unit=" inHg", decimals=2, factor=1 / 3386.389)
"""3386.389 Pa to the inch of mercury at 0 degrees Celsius: NIST SP 811 appendix B.8, from memory."""
_SAME_EVERYWHERE: Final = {
    Quantity.HUMIDITY: Scale(page_unit="%", text_unit="%", decimals=0),
    Quantity.CO2: Scale(page_unit=" ppm", text_unit=" ppm", decimals=0),
    Quantity.BATTERY: Scale(page_unit=" V", text_unit="V", decimals=2),
    Quantity.SIGNAL: Scale(page_unit=" dBm", text_unit=" dBm", decimals=0),
    Quantity.LIGHT: Scale(page_unit=" lx", text_unit=" lx", decimals=0),
}


def scale_of(quantity: Quantity, units: Units) -> Scale:
    """How ``quantity`` is shown. A contact has no scale: it is on or off and is said in words.

    Raises:
        ValueError: the quantity is a contact.
    """
    if quantity in CONTACTS:
        raise ValueError(f"{quantity} is a contact: it has words, not a scale")
    if quantity in _TEMPERATURES:
        return _FAHRENHEIT if units == "us" else _CELSIUS
    if quantity is Quantity.AIR_PRESSURE:
        return _INCH_OF_MERCURY if units == "us" else _HECTOPASCAL
    return _SAME_EVERYWHERE[quantity]
