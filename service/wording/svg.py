"""The few SVG pieces that our drawings share. All text is escaped here and nowhere else.

Colours are custom properties of the page, so light, dark and print follow it; the second colour is what a
drawing shows when it stands alone, chosen to be seen on white and on black.
"""

from __future__ import annotations

from html import escape
from typing import Final

INK: Final = "currentColor"
SOFT: Final = "var(--soft, #7d796f)"
PAPER: Final = "var(--paper, #fff)"
RAIL: Final = "var(--line, #9a958866)"
BAND: Final = "var(--band, #9a958844)"
SMEAR: Final = "var(--smear, #8d8878aa)"
OUT: Final = "var(--out, #c2410c)"


def attribute(text: str) -> str:
    """``text`` for use between double quotes."""
    return escape(text, quote=True)


def figure(value: float) -> str:
    """A coordinate, short: one decimal, no needless zero."""
    return f"{value:.1f}".removesuffix(".0")


def words(
    content: str,
    place: str,
    *,
    size: int,
    fill: str = SOFT,
    anchor: str = "start",
    bold: bool = False,
    clear: bool = False,
) -> str:
    """A run of text; ``place`` holds its coordinate attributes, ``clear`` keeps lines away from its letters."""
    weight = ' font-weight="700"' if bold else ""
    rim = f' stroke="{PAPER}" stroke-width="7" stroke-linejoin="round" paint-order="stroke"' if clear else ""
    return (
        f'<text {place} font-size="{size}" text-anchor="{anchor}" fill="{fill}"{weight}{rim}>'
        f"{escape(content, quote=False)}</text>"
    )
