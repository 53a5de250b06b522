"""Sentences about crops that share a room. Figures are made up, and worked by hand in the tests of the rules."""

from __future__ import annotations

import pytest

from rules.model import Quantity
from rules.profile import Band
from rules.sharing import Share, Sharer, sharing
from service.wording.sharing_sentences import in_common, least_bad, not_stated, nothing_in_common, stated
from tests.support.rooms import band, profile, stage

pytestmark = pytest.mark.pure

T, H, C = Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.CO2


def shared(quantity: Quantity, **bands: Band) -> Share:
    crops = []
    for name, wants in bands.items():
        here = stage({}, name="pins", bands={quantity: wants})
        crops.append(Sharer(batch=name, profile=profile(here, name=name), stage=here))
    return sharing(crops)[quantity]


CLASH = shared(T, shiitake=band(10, 16), warm=band(20, 30))


def test_the_reason_names_two_crops_and_what_they_want() -> None:
    """16 degC is 60.8 degF, and so on: times 1.8 plus 32."""
    assert nothing_in_common(CLASH, "metric") == (
        "Temperature: Shiitake (pins) wants 10 to 16 °C, Warm (pins) wants 20 to 30 °C: nothing in common"
    )
    assert "wants 50 to 60.8 °F, Warm (pins) wants 68 to 86 °F" in nothing_in_common(CLASH, "us")


def test_of_three_crops_the_two_farthest_apart_are_named() -> None:
    said = nothing_in_common(shared(T, a=band(10, 16), b=band(15, 21), c=band(20, 30)), "metric")
    assert said == "Temperature: A (pins) wants 10 to 16 °C, C (pins) wants 20 to 30 °C: nothing in common"


def test_an_edge_that_is_not_there_is_not_said() -> None:
    said = nothing_in_common(shared(C, oyster=band(high=1000), enoki=band(low=2000)), "us")
    assert (
        said
        == "CO2: Oyster (pins) wants up to 1,000 ppm, Enoki (pins) wants 2,000 ppm and over: nothing in common"
    )


def test_the_least_bad_band_says_what_each_suffers_and_a_difference_has_no_zero_point() -> None:
    """17 to 19 degC; 3 degrees either way are 5.4 in Fahrenheit, never 37.4."""
    assert least_bad(CLASH, "metric") == (
        "17 to 19 °C is the least bad: Shiitake (pins) up to 3 °C over its band, "
        "Warm (pins) up to 3 °C under its band"
    )
    assert "62.6 to 66.2 °F is the least bad: Shiitake (pins) up to 5.4 °F over" in least_bad(CLASH, "us")


def test_what_is_in_common_says_who_gives_up_what() -> None:
    assert in_common(shared(H, a=band(80, 90), b=band(85, 100)), "metric") == (
        "Humidity: 85 to 90% suits all. A (pins) gives up 5 points at its low edge; "
        "B (pins) gives up 10 points at its high edge."
    )
    assert in_common(shared(C, a=band(high=1000), b=band(low=600)), "metric") == (
        "CO2: 600 to 1,000 ppm suits all. A (pins), which has no low edge, is held to one; "
        "B (pins), which has no high edge, is held to one."
    )
    assert in_common(shared(T, a=band(10, 16)), "metric").endswith("A (pins) gives up nothing.")


def test_a_narrow_band_is_called_hard_to_hold() -> None:
    said = in_common(shared(H, a=band(90, 95), b=band(95, 100)), "metric")
    assert said.startswith("Humidity: 95% suits all, and is narrower than a probe may be off: hard to hold.")


def test_a_compromise_is_said_in_one_line_with_its_name() -> None:
    assert stated(CLASH, "metric", since="Tue 24 Nov 18:00", name="Ines") == (
        "Temperature is a compromise since Tue 24 Nov 18:00, accepted by Ines: 17 to 19 °C; "
        "Shiitake (pins) up to 3 °C over its band, Warm (pins) up to 3 °C under its band."
    )
    assert not_stated(CLASH, "metric") == (
        "Temperature: Shiitake (pins) wants 10 to 16 °C, Warm (pins) wants 20 to 30 °C: nothing in common. "
        "Nobody has accepted a compromise; shown is the least bad band, 17 to 19 °C."
    )
