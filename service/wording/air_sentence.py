"""What temperature and humidity say together, in one sentence: "Drying power 0.09 kPa (0.05 to 0.13 ...)"."""

from __future__ import annotations

from dataclasses import dataclass

from rules.model import Quantity
from service.wording.format import on_page
from service.wording.sentences import IN_ENGLISH, Language
from service.wording.units import Units


@dataclass(frozen=True, slots=True, kw_only=True)
class AirFacts:
    """The air at one place. Drying power in kPa, dew point in degC."""

    power: float
    low: float
    high: float
    decimals: int
    """As many as the error leaves."""
    dew_point: float | None
    place: str = ""
    """Empty where there is no other place to tell it from."""


def air_sentence(facts: AirFacts, units: Units, language: Language = IN_ENGLISH) -> str:
    """Say the drying power with the band that the probe's error leaves, and the dew point."""
    said, words = language
    power, low, high = (f"{figure:.{facts.decimals}f}" for figure in (facts.power, facts.low, facts.high))
    place = words.at_place.format(place=facts.place) if facts.place else ""
    sentence = said.air.format(power=power, low=low, high=high, place=place)
    if facts.dew_point is None:
        return sentence
    return f"{sentence} {said.dew_point.format(value=on_page(Quantity.TEMPERATURE, facts.dew_point, units))}"
