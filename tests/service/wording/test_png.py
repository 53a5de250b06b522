"""Drawings as pictures: letters must be there, colours real, and nothing of the page needed."""

from __future__ import annotations

import struct

import pytest

from rules.model import HOUR_MS, Quantity
from service.wording.night_chart import Panel, night_chart
from service.wording.png import png_of

pytestmark = pytest.mark.pure


def drawing(text: str = "", *, fill: str = "currentColor") -> str:
    """What the page's drawings are made of."""
    return (
        '<svg viewBox="0 0 120 30" width="100%" font-family="inherit">'
        f'<rect width="120" height="5" fill="{fill}"/><text x="5" y="25" font-size="15">{text}</text></svg>'
    )


def test_a_picture_is_twice_as_many_pixels_wide_as_the_drawing_is_units() -> None:
    picture = png_of(drawing("78%"))
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", picture[16:24]) == (240, 60)


@pytest.mark.parametrize("letter", "78%°CFÁáñÑéíóúü¿¡≤")
def test_no_letter_vanishes(letter: str) -> None:
    """A letter that the font lacks is drawn as nothing, or as the same box as any other."""
    missing = png_of(drawing("\ue123"))
    assert png_of(drawing(letter)) not in {png_of(drawing()), missing}


def test_the_pages_colours_are_those_that_a_drawing_shows_alone() -> None:
    assert png_of(drawing(fill="var(--out, #c2410c)")) == png_of(drawing(fill="#c2410c")) != png_of(drawing())


def test_a_nights_chart_becomes_a_picture() -> None:
    points = [(hour * HOUR_MS, 80.0 + hour) for hour in range(12)]
    svg = night_chart(
        panels=[Panel(quantity=Quantity.HUMIDITY, points=points)],
        from_ms=0,
        to_ms=12 * HOUR_MS,
        ticks=[(0, "18")],
        width=360,
    )
    assert struct.unpack(">II", png_of(svg)[16:24])[0] == 720


@pytest.mark.parametrize("said", ["", "<svg>", '<svg viewBox="0 0 10 10"', "no drawing"])
def test_what_is_no_drawing_is_refused(said: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        png_of(said)
