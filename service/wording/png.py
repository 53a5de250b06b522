"""A drawing as a picture: mail programs show no SVG.

The letters come with us. The renderer leaves a text out, without a word, when it has no font for it, and a farm
computer without a screen has none.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import fontpkg_ibm_plex_sans as letters
import resvg_py

_FONT: Final = Path(letters.ROOT) / "files" / "IBMPlexSans[wdth,wght].ttf"
_INK: Final = "#22211e"
_PAPER: Final = "#ffffff"
_SHARP: Final = 2
"""Pixels to a unit of the drawing: phones show two or three."""
_OF_THE_PAGE: Final = re.compile(r"var\(--[\w-]+, *([^()]+)\)")
_NAMESPACE: Final = 'xmlns="http://www.w3.org/2000/svg"'


def png_of(svg: str) -> bytes:
    """The drawing on white, twice as many pixels wide as it is units.

    Raises:
        ValueError: it is no drawing.
    """
    alone = _OF_THE_PAGE.sub(r"\1", svg).replace("currentColor", _INK)
    alone = alone.replace('font-family="inherit"', f'font-family="{letters.FAMILY}"')
    if _NAMESPACE not in alone:
        alone = alone.replace("<svg ", f"<svg {_NAMESPACE} ", 1)
    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=alone,
            background=_PAPER,
            width=_SHARP * _width(alone),
            skip_system_fonts=True,
            font_files=[str(_FONT)],
            font_family=letters.FAMILY,
        )
    )


def _width(svg: str) -> int:
    found = re.search(r'viewBox="[\d.-]+ [\d.-]+ (\d+)', svg)
    if found is None:
        raise ValueError("a drawing says its measures in viewBox")
    return int(found[1])
