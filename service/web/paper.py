"""What every page has in common: the template, the farm's banners, the headers."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse

from service.localtime import local
from service.reports.words import Words
from service.watch.desk import Desk
from service.wording.format import clock

STATIC: Final = Path(__file__).parent / "static"
_REFRESH_S: Final = 60
_FAST_REFRESH_S: Final = 10
"""On a clock that runs fast a minute of the wall is a third of an hour of the farm."""
HEADERS: Final = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data:; frame-ancestors 'none'; form-action 'self'; base-uri 'none'"
    ),
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
}

_templates = Environment(
    loader=PackageLoader("service.web"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def page(desk: Desk, template: str, status: int = 200, **content: Any) -> HTMLResponse:
    """Fill in a template for the farm."""
    filled = _templates.get_template(template).render({**_common(desk), **content})
    return HTMLResponse(filled, status_code=status, headers=HEADERS)


def filled(template: str, **content: Any) -> str:
    """Fill in a template that stands alone."""
    return _templates.get_template(template).render(content)


def words_of(desk: Desk) -> Words:
    """Words in the farm's own units, as pages use them."""
    return Words(farm=desk.farm, units=desk.farm["units"], now_ms=desk.clock.now_ms())


def _common(desk: Desk) -> Mapping[str, Any]:
    fast = desk.clock.factor > 1
    word = str(desk.farm["room_word"])
    return {
        "farm": desk.farm,
        "room_word": word,
        "rooms_word": f"{word}s",
        "clock_factor": f"{desk.clock.factor:g}" if fast else "",
        "refresh_s": _FAST_REFRESH_S if fast else _REFRESH_S,
        "written": clock(local(desk.clock.now_ms(), desk.farm["zone"])),
        "static": _static,
        "has_charts": (STATIC / "vendor" / "uPlot.iife.min.js").is_file(),
    }


@cache
def _static(name: str) -> str:
    """The address of a file, which changes with its content, so that browsers may keep it."""
    file = STATIC / name
    mark = hashlib.sha256(file.read_bytes()).hexdigest()[:12]
    return f"/static/{name}?{mark}"
