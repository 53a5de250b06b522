from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model import CONTACTS, Quantity
from service.wording.format import (
    band_on_page,
    clock,
    day,
    difference_on_page,
    duration,
    duration_ms,
    limit_in_text,
    on_page,
    value_in_text,
)
from service.wording.units import Units, scale_of

pytestmark = pytest.mark.pure


@pytest.mark.parametrize(
    ("quantity", "value", "units", "shown"),
    [
        (Quantity.HUMIDITY, 81.4, "metric", "81%"),
        (Quantity.HUMIDITY, 95.0, "metric", "95%"),
        (Quantity.HUMIDITY, 97.3, "us", "95+%"),
        (Quantity.TEMPERATURE, 15.44, "metric", "15.4 °C"),
        (Quantity.TEMPERATURE, -0.01, "metric", "0.0 °C"),
        # The four marks where the scales are fixed or meet: definition of the Fahrenheit scale.
        (Quantity.TEMPERATURE, 0.0, "us", "32 °F"),
        (Quantity.TEMPERATURE, 100.0, "us", "212 °F"),
        (Quantity.SURFACE, -40.0, "us", "-40 °F"),
        (Quantity.BLOCK_CORE, 37.0, "us", "99 °F"),
        (Quantity.CO2, 1480.0, "metric", "1,480 ppm"),
        (Quantity.BATTERY, 2.914, "metric", "2.91 V"),
        # Standard atmosphere, 101325 Pa = 29.92 inHg (ISO 2533 / ICAO, from memory).
        (Quantity.AIR_PRESSURE, 101_325.0, "metric", "1,013 hPa"),
        (Quantity.AIR_PRESSURE, 101_325.0, "us", "29.92 inHg"),
    ],
)
def test_a_page_shows_a_value_with_its_unit(quantity: Quantity, value: float, units: Units, shown: str) -> None:
    assert on_page(quantity, value, units) == shown


def test_a_difference_has_no_zero_point() -> None:
    """1 K = 1.8 degrees Fahrenheit (NIST SP 811 B.8, from memory)."""
    assert difference_on_page(Quantity.TEMPERATURE, 1.0, "us") == "+1.8 °F"
    assert difference_on_page(Quantity.TEMPERATURE, -0.5, "metric") == "-0.5 °C"
    assert difference_on_page(Quantity.HUMIDITY, -3.0, "us") == "-3 points"
    assert difference_on_page(Quantity.CO2, 1200.0, "us") == "+1,200 ppm"


def test_a_band_is_said_with_the_edges_it_has() -> None:
    assert band_on_page(Quantity.HUMIDITY, 85, 97.5, "metric") == "85 to 97.5%"
    assert band_on_page(Quantity.HUMIDITY, 95, 95, "metric") == "95%"
    assert band_on_page(Quantity.CO2, None, 1000, "metric") == "up to 1,000 ppm"
    assert band_on_page(Quantity.TEMPERATURE, 13, None, "us") == "55.4 °F and over"
    assert band_on_page(Quantity.TEMPERATURE, None, None, "us") == ""


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (-5, "under 1 min"),
        (0, "under 1 min"),
        (1, "1 min"),
        (59, "59 min"),
        (60, "1 h"),
        (70, "1 h 10"),
        (65, "1 h 05"),
        (2879, "47 h 59"),
        (2880, "2 days"),
        (10_000_000, "999 days"),
    ],
)
def test_a_duration_is_said_in_whole_units_rounded_down(minutes: int, said: str) -> None:
    assert duration(minutes) == said
    assert duration_ms(minutes * 60_000 + 59_999) == said


def test_a_clock_time_is_that_of_the_moment_given() -> None:
    moment = datetime(2026, 11, 25, 2, 5, 59, tzinfo=timezone(timedelta(hours=-5)))
    assert (clock(moment), day(moment)) == ("02:05", "Wed 25 Nov")
    with pytest.raises(ValueError, match="without a zone"):
        clock(datetime(2026, 11, 25, 2, 5, tzinfo=UTC).replace(tzinfo=None))


def test_a_contact_has_no_scale() -> None:
    with pytest.raises(ValueError, match="contact"):
        scale_of(Quantity.DOOR, "metric")


def test_a_value_in_a_text_keeps_to_its_side_of_the_limit() -> None:
    assert value_in_text(Quantity.HUMIDITY, 81.2, 85, "metric") == "81%"
    assert value_in_text(Quantity.HUMIDITY, 84.6, 85, "metric") == "84.6%"
    assert value_in_text(Quantity.HUMIDITY, 84.9999, 85, "metric") == "84.99%"
    assert value_in_text(Quantity.TEMPERATURE, 19.1, 19, "us") == "66.4F"
    assert limit_in_text(Quantity.TEMPERATURE, 19, "us") == "66.2F"
    assert value_in_text(Quantity.CO2, 1480, 1000, "us") == "1480 ppm"
    assert value_in_text(Quantity.TEMPERATURE, 20.0, 19, "metric") == "20C"


@given(
    st.sampled_from(sorted(frozenset(Quantity) - CONTACTS)),
    st.floats(min_value=-1e4, max_value=1e4),
    st.floats(min_value=-1e4, max_value=1e4),
    st.sampled_from(["metric", "us"]),
)
def test_no_text_ever_contradicts_itself(quantity: Quantity, value: float, limit: float, units: Units) -> None:
    unit = scale_of(quantity, units).text_unit
    shown = float(value_in_text(quantity, value, limit, units).removesuffix(unit))
    shown_limit = float(limit_in_text(quantity, limit, units).removesuffix(unit))
    if value < limit:
        assert shown < shown_limit
    if value > limit:
        assert shown > shown_limit
