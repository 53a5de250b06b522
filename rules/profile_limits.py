"""What must hold between the figures of a profile: inside a band, and between a band and its text limits."""

from __future__ import annotations

from typing import Final

from rules.model import MINUTE_MS, UNIT, Quantity, Side
from rules.profile import Band, Fast, Figure, TextLimit
from rules.profile_table import Place

POSSIBLE: Final[dict[str, tuple[float, float]]] = {"%RH": (0, 100), "ppm": (0, 100_000), "Cel": (-40, 100)}
"""By unit: a limit outside could never be crossed, and would look as if somebody were watching."""


def probe_accuracy(quantity: Quantity, value: float) -> float:
    """How far an ordinary probe may be off at ``value``, in the quantity's unit (common practice).

    2 points of humidity, 0.5 degC, and for CO2 50 ppm plus 5 % of the reading; 0 where we have no figure.
    """
    if quantity is Quantity.CO2:
        return 50.0 + 0.05 * value
    return {"%RH": 2.0, "Cel": 0.5}.get(UNIT[quantity], 0.0)


def check_band(band: Band, quantity: Quantity, place: Place) -> None:
    """Refuse a band that holds nothing, is upside down, or aims outside itself.

    Raises:
        ProfileError: at the key that is wrong.
    """
    figures = {"low": band.low, "target": band.target, "high": band.high}
    given = {key: figure for key, figure in figures.items() if figure is not None}
    if not given:
        raise place.error("needs at least one of low, target and high")
    for key, figure in given.items():
        _check_possible(figure, quantity, place.at(key))
    if band.low and band.high and band.low.value >= band.high.value:
        raise place.at("low").error(f"{band.low.value:g} is not below high, {band.high.value:g}")
    if band.target:
        _check_target(band, band.target, place.at("target"))


def check_text_limit(text: TextLimit, side: Side, band: Band, quantity: Quantity, place: Place) -> None:
    """Refuse a text limit that would speak for nothing, too late, or never.

    It stands outside the band by at least what a probe may be off plus the recover margin: so a room at the
    edge of its band makes no text, and one that has recovered is back in its band as far as anyone can tell.

    Raises:
        ProfileError: at the key that is wrong.
    """
    edge = band.low if side is Side.LOW else band.high
    if edge is None:
        raise place.at("limit").error(f"the band has no {side} edge to stand outside of")
    _check_possible(text.limit, quantity, place.at("limit"))
    distance = _outward(edge.value, text.limit.value, side)
    needed = probe_accuracy(quantity, edge.value) + text.recover_margin
    if distance < needed:
        raise place.at("limit").error(
            f"{text.limit.value:g} is {distance:g} outside the band's {side} edge {edge.value:g}; it must be at "
            f"least {needed:g} (probe accuracy plus recover margin)"
        )
    if text.far_limit and text.far_wait_ms is not None:
        _check_far_limit(text, text.far_limit, text.far_wait_ms, side=side, quantity=quantity, place=place)
    if text.below_usual is not None:
        _check_below_usual(text, text.below_usual, side=side, quantity=quantity, place=place)
    if text.fast:
        _check_fast(text, text.fast, quantity, place.at("fast"))


def _check_far_limit(
    text: TextLimit, far: Figure, far_wait_ms: int, *, side: Side, quantity: Quantity, place: Place
) -> None:
    _check_possible(far, quantity, place.at("far_limit"))
    if _outward(text.limit.value, far.value, side) <= 0:
        raise place.at("far_limit").error(f"{far.value:g} is not beyond the limit, {text.limit.value:g}")
    if far_wait_ms >= text.wait_ms:
        raise place.at("far_wait_minutes").error("must be shorter than wait_minutes")


def _check_below_usual(
    text: TextLimit, below_usual: float, *, side: Side, quantity: Quantity, place: Place
) -> None:
    """Only humidity has a usual course; and what a probe may be off must not speak as a fall."""
    if (quantity, side) != (Quantity.HUMIDITY, Side.LOW):
        raise place.at("below_usual").error("is only for low humidity")
    needed = probe_accuracy(quantity, text.limit.value) + text.recover_margin
    if below_usual < needed:
        raise place.at("below_usual").error(f"must be at least {needed:g} (probe accuracy plus recover margin)")


def _check_fast(text: TextLimit, fast: Fast, quantity: Quantity, place: Place) -> None:
    accuracy = probe_accuracy(quantity, text.limit.value)
    if fast.change <= accuracy:
        raise place.at("change").error(f"must be above {accuracy:g}, what an ordinary probe may be off")
    if fast.within_ms < MINUTE_MS:
        raise place.at("within_minutes").error(
            "must be at least 1: no probe reports so often that less can be told"
        )
    if fast.wait_ms >= text.wait_ms:
        raise place.at("wait_minutes").error("must be shorter than the limit's wait_minutes")


def _check_possible(figure: Figure, quantity: Quantity, place: Place) -> None:
    low, high = POSSIBLE.get(UNIT[quantity], (figure.value, figure.value))
    if not low <= figure.value <= high:
        raise place.error(f"{figure.value:g} {UNIT[quantity]} is impossible; it must be from {low:g} to {high:g}")


def _check_target(band: Band, target: Figure, place: Place) -> None:
    below = band.low is not None and target.value < band.low.value
    above = band.high is not None and target.value > band.high.value
    if below or above:
        raise place.error(f"{target.value:g} lies outside the band")


def _outward(inner: float, outer: float, side: Side) -> float:
    """How far ``outer`` lies beyond ``inner``, away from the band."""
    return inner - outer if side is Side.LOW else outer - inner
