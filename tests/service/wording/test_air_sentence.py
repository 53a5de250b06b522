"""The sentence about a room's air: digits as the error leaves them, units of the reader, only what is known."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.wording.air_sentence import AirFacts, air_sentence

pytestmark = pytest.mark.pure

AT_16_DEGREES_AND_95 = AirFacts(power=0.0909, low=0.0544, high=0.1274, decimals=2, dew_point=15.2)


def test_drying_power_stands_with_its_band_and_the_dew_point() -> None:
    assert air_sentence(AT_16_DEGREES_AND_95, "metric") == (
        "Drying power 0.09 kPa (0.05 to 0.13 with the probe's error). Dew point 15.2 °C."
    )


def test_the_dew_point_is_in_the_readers_degrees() -> None:
    assert air_sentence(AT_16_DEGREES_AND_95, "us").endswith("Dew point 59 °F.")


def test_the_place_is_named_where_there_are_several() -> None:
    facts = replace(AT_16_DEGREES_AND_95, place="door end", dew_point=None)
    assert air_sentence(facts, "metric") == (
        "Drying power 0.09 kPa at door end (0.05 to 0.13 with the probe's error)."
    )
