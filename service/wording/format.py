"""Numbers, bands, durations and clock times as people read them."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Final

from rules.model import MINUTE_MS, Quantity
from service.wording.phrases import ENGLISH, Phrases
from service.wording.units import Units, scale_of

DOUBTFUL_HUMIDITY: Final = 95.0
"""Above this a humidity probe says little more than "very wet", so pages show no digits that look exact."""

_LARGEST_PLAIN: Final = 1e6
_HOUR_MINUTES: Final = 60
_DAYS_FROM_MINUTES: Final = 48 * 60
_MOST_DAYS: Final = 999
_EXTRA_DECIMALS: Final = 2
_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def on_page(quantity: Quantity, value: float, units: Units) -> str:
    """A value with its unit for a page: "81%", "15.4 °C", "1,480 ppm", "95+%"."""
    return bare_on_page(quantity, value, units) + scale_of(quantity, units).page_unit


def bare_on_page(quantity: Quantity, value: float, units: Units) -> str:
    """The same without the unit, for axes and tables whose heading carries it."""
    if quantity is Quantity.HUMIDITY and value > DOUBTFUL_HUMIDITY:
        return f"{DOUBTFUL_HUMIDITY:.0f}+"
    scale = scale_of(quantity, units)
    return _plain(scale.convert(value), scale.decimals, separator=",")


def edge_on_page(quantity: Quantity, value: float, units: Units) -> str:
    """A band edge or limit without unit: a figure somebody set, so no "95+" and no needless zero."""
    scale = scale_of(quantity, units)
    return _trimmed(_plain(scale.convert(value), max(scale.decimals, 1), separator=","))


def band_on_page(
    quantity: Quantity, low: float | None, high: float | None, units: Units, phrases: Phrases = ENGLISH
) -> str:
    """A band in words: "85 to 95%", "up to 1,000 ppm", "85% and over", "95%"; empty when it has no edge."""
    unit = scale_of(quantity, units).page_unit
    if low is not None and low == high:
        return edge_on_page(quantity, low, units) + unit
    if low is not None and high is not None:
        lower, upper = edge_on_page(quantity, low, units), edge_on_page(quantity, high, units)
        return phrases.band_between.format(low=lower, high=upper + unit)
    if high is not None:
        return phrases.band_up_to.format(high=edge_on_page(quantity, high, units) + unit)
    return phrases.band_from.format(low=edge_on_page(quantity, low, units) + unit) if low is not None else ""


def difference_on_page(quantity: Quantity, difference: float, units: Units) -> str:
    """A difference with sign and unit: "+1.8 °F", "-3 points" of humidity."""
    scale = scale_of(quantity, units)
    shown = _plain(scale.convert_difference(difference), max(scale.decimals, 1), separator=",")
    unit = " points" if quantity is Quantity.HUMIDITY else scale.page_unit
    return ("" if shown.startswith("-") else "+") + _trimmed(shown) + unit


def limit_in_text(quantity: Quantity, limit: float, units: Units) -> str:
    """A limit in a text message: no degree sign, no thousands separator, no needless zero."""
    scale = scale_of(quantity, units)
    return _limit_figure(quantity, limit, units) + scale.text_unit


def value_in_text(quantity: Quantity, value: float, limit: float, units: Units) -> str:
    """A value in a text message, with just enough decimals to stand on its true side of ``limit``.

    "85%, under limit 85%" would read as a mistake of ours; 84.6 is then shown as 84.6.
    """
    scale = scale_of(quantity, units)
    shown_limit = float(_limit_figure(quantity, limit, units))
    side = (value > limit) - (value < limit)
    for decimals in range(scale.decimals, scale.decimals + _EXTRA_DECIMALS + 1):
        figure = _plain(scale.convert(value), decimals)
        if ((shown := float(figure)) > shown_limit) - (shown < shown_limit) == side:
            return _trimmed(figure) + scale.text_unit
    last_place: float = 10.0 ** (scale.decimals + _EXTRA_DECIMALS)
    return _plain(shown_limit + side / last_place, scale.decimals + _EXTRA_DECIMALS) + scale.text_unit


def duration(minutes: int, phrases: Phrases = ENGLISH) -> str:
    """A length of time in whole units, rounded down: "47 min", "1 h 10", "3 days"."""
    if minutes < 1:
        return phrases.under_a_minute
    if minutes < _HOUR_MINUTES:
        return f"{minutes} min"
    if minutes < _DAYS_FROM_MINUTES:
        hours, rest = divmod(minutes, _HOUR_MINUTES)
        return f"{hours} h {rest:02d}" if rest else f"{hours} h"
    return phrases.days.format(days=min(minutes // (24 * _HOUR_MINUTES), _MOST_DAYS))


def duration_ms(milliseconds: int) -> str:
    return duration(milliseconds // MINUTE_MS)


def clock(moment: datetime) -> str:
    """The time of day on the farm's own clock: "02:51".

    Raises:
        ValueError: the moment carries no zone, so nobody knows whose clock it is.
    """
    if moment.tzinfo is None:
        raise ValueError("a moment without a zone cannot be shown to people")
    return f"{moment.hour:02d}:{moment.minute:02d}"


def day(moment: datetime) -> str:
    """The day on the farm's own calendar: "Wed 25 Nov"."""
    return f"{_WEEKDAYS[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]}"


def _limit_figure(quantity: Quantity, limit: float, units: Units) -> str:
    scale = scale_of(quantity, units)
    return _trimmed(_plain(scale.convert(limit), max(scale.decimals, 1)))


def _plain(value: float, decimals: int, separator: str = "") -> str:
    if not math.isfinite(value) or abs(value) >= _LARGEST_PLAIN:
        return f"{value:.2e}"
    return f"{round(value, decimals) + 0.0:{separator}.{decimals}f}"


def _trimmed(figure: str) -> str:
    return figure.rstrip("0").rstrip(".") if "." in figure and "e" not in figure else figure
