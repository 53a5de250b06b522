"""The chart of a night: drawn by the server in two widths, and as data for the browser to draw it livelier."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from markupsafe import Markup

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.reports.night import Line, QuantityNight, RoomNight
from service.reports.span import hours
from service.reports.words import Words
from service.wording.format import bare_on_page, edge_on_page
from service.wording.night_chart import BandStep, NumberedStretch, Panel, night_chart
from service.wording.sentences import capital
from service.wording.units import scale_of

PHONE_WIDTH: Final = 358
DESK_WIDTH: Final = 720
MAX_GAP_MS: Final = 15 * MINUTE_MS
_DECIMALS_KEPT: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """One night drawn."""

    narrow: Markup
    wide: Markup
    data: dict[str, Any]
    """What ``page.js`` draws from; times in seconds, values as shown."""


def chart(night: RoomNight, words: Words) -> Chart | None:
    """Draw a night; ``None`` when there is nothing to draw."""
    panels = [_panel(q, night, words) for q in night.quantities]
    if not any(panel.points for panel in panels):
        return None
    span = night.span
    ticks = [(at, f"{words.at(at).hour:02d}") for at in hours(words.farm, span)]
    narrow, wide = (
        Markup(  # noqa: S704 - our own drawing; every text in it is escaped where it is written
            night_chart(panels=panels, from_ms=span.from_ms, to_ms=span.to_ms, ticks=ticks, width=width)
        )
        for width in (PHONE_WIDTH, DESK_WIDTH)
    )
    return Chart(narrow=narrow, wide=wide, data=_data(night, words))


def _panel(quantity: QuantityNight, night: RoomNight, words: Words) -> Panel:
    first, *others = [line.points for line in quantity.lines] or [()]
    return Panel(
        quantity=quantity.quantity,
        points=first,
        beside=others,
        bands=tuple(_band_steps(quantity, night.span.to_ms)),
        stretches=tuple(_stretches(quantity, night)),
        units=words.units,
        max_gap_ms=MAX_GAP_MS,
    )


def _band_steps(quantity: QuantityNight, to_ms: Instant) -> Iterable[BandStep]:
    ends = [*(band.from_ms for band in quantity.bands[1:]), to_ms]
    for band, end in zip(quantity.bands, ends, strict=False):
        yield BandStep(from_ms=band.from_ms, to_ms=end, low=band.low, high=band.high)


def _stretches(quantity: QuantityNight, night: RoomNight) -> Iterable[NumberedStretch]:
    for number, dip in enumerate(night.dips, start=1):
        if dip.quantity is quantity.quantity:
            yield NumberedStretch(number=number, from_ms=dip.from_ms, to_ms=dip.last_ms)


def _data(night: RoomNight, words: Words) -> dict[str, Any]:
    return {
        "zone": words.farm["zone"],
        "from": night.span.from_ms // SECOND_MS,
        "to": night.span.to_ms // SECOND_MS,
        "panels": [_panel_data(q, night, words) for q in night.quantities if q.lines],
    }


def _panel_data(quantity: QuantityNight, night: RoomNight, words: Words) -> dict[str, Any]:
    scale = scale_of(quantity.quantity, words.units)
    edges = {e for band in quantity.bands for e in (band.low, band.high) if e is not None}

    def shown(value: float | None) -> float | None:
        return None if value is None else round(scale.convert(value), _DECIMALS_KEPT)

    return {
        "title": capital(words.language[1].quantity[quantity.quantity]),
        "unit": scale.page_unit,
        "decimals": scale.decimals,
        "ends": [[shown(v), bare_on_page(quantity.quantity, v, words.units)] for v in quantity.spread or ()],
        "edges": [[shown(e), edge_on_page(quantity.quantity, e, words.units)] for e in sorted(edges)],
        "lines": [
            {"place": line.place, "points": [[at / SECOND_MS, shown(v)] for at, v in _with_gaps(line)]}
            for line in quantity.lines
        ],
        "bands": [
            [step.from_ms / SECOND_MS, step.to_ms / SECOND_MS, shown(step.low), shown(step.high)]
            for step in _band_steps(quantity, night.span.to_ms)
        ],
        "dips": [[s.number, s.from_ms / SECOND_MS, s.to_ms / SECOND_MS] for s in _stretches(quantity, night)],
    }


def _with_gaps(line: Line) -> Iterable[tuple[Instant, float | None]]:
    """The readings, and in every hole a point without a value, so that nothing is drawn across it."""
    for (at, value), (after, _) in pairwise(line.points):
        yield at, value
        if after - at > MAX_GAP_MS:
            yield (at + after) // 2, None
    if line.points:
        yield line.points[-1]
