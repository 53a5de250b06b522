from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model import CONTACTS, Quantity
from service.wording.band_strip import Strip, band_strip
from service.wording.units import Units

pytestmark = pytest.mark.pure


def humidity(now: float | None, low: float | None = 85.0, high: float | None = 95.0) -> Strip:
    return band_strip(quantity=Quantity.HUMIDITY, low=low, high=high, now=now, spread=(78.0, 92.0), units="metric")


def drawn(strip: Strip) -> ET.Element:
    return ET.fromstring(strip.svg)


def mark_place(strip: Strip) -> float:
    marks = [line for line in drawn(strip).iter("line") if line.get("stroke-width") == "5"]
    (mark,) = marks
    return float(mark.get("x1", "").rstrip("%"))


def written(strip: Strip) -> list[str]:
    return [text.text or "" for text in drawn(strip).iter("text")]


def test_the_label_says_in_words_what_is_drawn() -> None:
    assert humidity(81.2).label == "Humidity 81%, low; band 85 to 95%; last night 78 to 92%"
    assert humidity(90.0).label == "Humidity 90%; band 85 to 95%; last night 78 to 92%"
    assert humidity(98.0).label == "Humidity 95+%, high; band 85 to 95%; last night 78 to 92%"
    assert drawn(humidity(81.2)).get("aria-label") == humidity(81.2).label


def test_outside_the_band_the_word_stands_in_the_drawing_and_inside_it_does_not() -> None:
    assert (humidity(84.9).word, written(humidity(84.9))) == ("low", ["85", "95", "low"])
    assert (humidity(95.1).word, written(humidity(95.1))) == ("high", ["85", "95", "high"])
    assert (humidity(85.0).word, written(humidity(85.0))) == (None, ["85", "95"])


def test_outside_the_band_the_line_breaks() -> None:
    def pieces(strip: Strip) -> int:
        return sum(line.get("stroke-width") == "2" for line in drawn(strip).iter("line"))

    assert [pieces(humidity(now)) for now in (80.0, 90.0, 99.0)] == [2, 1, 2]


def test_the_band_has_the_same_place_in_every_strip() -> None:
    """So that houses with different crops can be compared by eye."""
    assert mark_place(humidity(85.0)) == pytest.approx(33.3)
    assert mark_place(humidity(95.0)) == pytest.approx(66.7)
    cool = band_strip(quantity=Quantity.TEMPERATURE, low=4, high=6, now=5, spread=None, units="us")
    assert mark_place(cool) == pytest.approx(50)


def test_a_band_without_a_low_edge_begins_at_the_end_of_the_line() -> None:
    co2 = band_strip(quantity=Quantity.CO2, low=None, high=1000, now=700, spread=None, units="metric")
    assert mark_place(co2) == pytest.approx(33.3)
    assert "band up to 1,000 ppm" in co2.label


def test_what_lies_far_out_stands_at_the_end_and_not_outside_the_drawing() -> None:
    assert mark_place(humidity(2.0)) == pytest.approx(1.5)
    co2 = band_strip(quantity=Quantity.CO2, low=None, high=1000, now=40_000, spread=None, units="metric")
    assert mark_place(co2) == pytest.approx(98.5)


def test_without_a_reading_nothing_is_marked() -> None:
    strip = humidity(None)
    assert strip.label.startswith("Humidity: no reading; ")
    assert "stroke-dasharray" in strip.svg
    assert not [line for line in drawn(strip).iter("line") if line.get("stroke-width") == "5"]


def test_without_a_band_nothing_is_high_or_low() -> None:
    strip = humidity(20.0, low=None, high=None)
    assert (strip.word, strip.label) == (None, "Humidity 20%; no band; last night 78 to 92%")


figures = st.floats(min_value=-1e6, max_value=1e6)
bands = st.tuples(st.none() | figures, st.none() | figures)


@given(
    st.sampled_from(sorted(frozenset(Quantity) - CONTACTS)),
    bands,
    st.none() | figures,
    st.none() | st.tuples(figures, figures),
    st.sampled_from(["metric", "us"]),
)
def test_every_strip_is_well_formed_and_stays_inside_its_width(
    quantity: Quantity,
    band: tuple[float | None, float | None],
    now: float | None,
    spread: tuple[float, float] | None,
    units: Units,
) -> None:
    low, high = band
    strip = band_strip(quantity=quantity, low=low, high=high, now=now, spread=spread, units=units)
    ET.fromstring(strip.svg)
    assert all(0 <= float(place) <= 100 for place in re.findall(r'"(-?[0-9.]+)%"', strip.svg))
    assert "nan" not in strip.svg
