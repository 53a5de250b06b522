from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from rules.model import HOUR_MS, MINUTE_MS, Quantity
from service.wording.night_chart import BandStep, NumberedStretch, Panel, night_chart

pytestmark = pytest.mark.pure

NIGHT = 12 * HOUR_MS
TICKS = [(hour * HOUR_MS, f"{(18 + hour) % 24:02d}") for hour in range(13)]
POINTS = tuple((at, 90.0 if at < 8 * HOUR_MS or at > 9 * HOUR_MS else 80.0) for at in range(0, NIGHT, MINUTE_MS))
HUMIDITY = Panel(
    quantity=Quantity.HUMIDITY,
    points=POINTS,
    bands=(
        BandStep(from_ms=0, to_ms=6 * HOUR_MS, low=80, high=90),
        BandStep(from_ms=6 * HOUR_MS, to_ms=NIGHT, low=85, high=None),
    ),
    stretches=(NumberedStretch(number=1, from_ms=8 * HOUR_MS, to_ms=9 * HOUR_MS),),
)
CO2 = Panel(quantity=Quantity.CO2, points=[(at, 700.0) for at, _ in POINTS if not 3 <= at / HOUR_MS < 7])


def chart(*panels: Panel, width: int = 760) -> ET.Element:
    return ET.fromstring(night_chart(panels=panels, from_ms=0, to_ms=NIGHT, ticks=TICKS, width=width))


def written(svg: ET.Element) -> list[str]:
    return [text.text or "" for text in svg.iter("text")]


def test_the_chart_says_in_words_what_it_shows() -> None:
    assert chart(HUMIDITY, CO2).get("aria-label") == (
        "Humidity: lowest 80%, highest 90%; 1 stretch outside the band. CO2: lowest 700 ppm, highest 700 ppm"
    )


def test_each_stretch_carries_its_number_and_is_drawn_again_heavier() -> None:
    svg = chart(HUMIDITY)
    assert "1" in written(svg)
    assert [path.get("stroke-width") for path in svg.iter("path") if path.get("fill") == "none"] == ["1.6", "3"]


def test_the_band_steps_where_the_stage_changed() -> None:
    bands = [r for r in chart(HUMIDITY).iter("rect") if "--band" in r.get("fill", "")]
    assert len(bands) == 2
    first, second = bands
    assert float(first.get("x", "")) + float(first.get("width", "")) == pytest.approx(
        float(second.get("x", "")), abs=0.2
    )
    assert first.get("y") != second.get("y")


def test_a_hole_breaks_the_line_and_is_named_where_there_is_room() -> None:
    svg = chart(CO2)
    (line,) = [path for path in svg.iter("path") if path.get("fill") == "none"]
    assert line.get("d", "").count("M") == 2
    assert "no readings" in written(svg)


def test_all_panels_share_one_time_axis() -> None:
    assert written(chart(HUMIDITY, CO2)).count("00") == 1


def test_on_a_phone_fewer_hours_are_named_and_none_overlap() -> None:
    wide, narrow = ([name for _, name in TICKS if name in written(chart(CO2, width=w))] for w in (760, 358))
    assert wide == [name for _, name in TICKS]
    assert narrow == ["18", "20", "22", "00", "02", "04", "06"]


def test_a_panel_without_readings_says_so() -> None:
    svg = chart(Panel(quantity=Quantity.TEMPERATURE, points=()))
    assert svg.get("aria-label") == "Temperature: no readings"
    assert "no readings" in written(svg)


def test_text_from_outside_cannot_become_markup() -> None:
    title = '<script>"&'
    panel = Panel(quantity=Quantity.CO2, points=((0, 1.0),), title=title)
    svg = night_chart(panels=[panel], from_ms=0, to_ms=NIGHT, ticks=[(0, "<b>")], width=400)
    assert "<script>" not in svg
    assert "<b>" not in svg
    assert title in written(ET.fromstring(svg))


def test_figures_follow_the_reader_units() -> None:
    panel = Panel(
        quantity=Quantity.TEMPERATURE,
        points=((0, 15.0), (NIGHT, 15.0)),
        bands=(BandStep(from_ms=0, to_ms=NIGHT, low=10, high=20),),
        units="us",
    )
    assert {"50", "68", "°F"} <= set(written(chart(panel)))


def test_a_week_of_minutes_stays_small() -> None:
    """Four points a pixel column at most, whatever the number of readings."""
    points = [(at, 90.0 + (at // MINUTE_MS * 7919 % 13)) for at in range(0, 14 * NIGHT, MINUTE_MS)]
    svg = night_chart(
        panels=[Panel(quantity=Quantity.LIGHT, points=points)], from_ms=0, to_ms=14 * NIGHT, ticks=(), width=760
    )
    assert len(svg) < 40_000


@pytest.mark.parametrize(("to_ms", "width"), [(0, 400), (NIGHT, 100)])
def test_an_impossible_chart_is_refused(to_ms: int, width: int) -> None:
    with pytest.raises(ValueError, match=r"night|narrow"):
        night_chart(panels=[CO2], from_ms=0, to_ms=to_ms, ticks=(), width=width)
