"""The chart of a night, drawn as SVG by the server: nothing to load, nothing to run, and it prints.

One quantity to a panel, all on one time axis. The band is shaded and steps where the stage changed; stretches
outside it are shaded, drawn heavier and carry the number by which the page explains them. A hole in the readings
stays a hole: joining its ends would claim that somebody looked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from rules.model import MINUTE_MS, Instant, Quantity
from service.wording.format import bare_on_page, edge_on_page, on_page
from service.wording.line_path import Frame, holes, line_path
from service.wording.phrases import ENGLISH, Phrases
from service.wording.svg import BAND, INK, OUT, RAIL, SOFT, attribute, figure, words
from service.wording.units import Units, scale_of

PANEL_HEIGHT: Final = 132
_LEFT: Final = 46
_RIGHT: Final = 10
_HEAD: Final = 26
_FOOT: Final = 24
_PLOT: Final = PANEL_HEIGHT - _HEAD - 10
_TICK_ROOM: Final = 46
"""Pixels that an hour needs under the axis at 13 px."""
_LABEL_ROOM: Final = 15
_GAP_ROOM: Final = 78
_HEADROOM: Final = 0.12
_EDGES_OF_A_BAND: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class BandStep:
    """The band from one moment to another; either edge may be absent."""

    from_ms: Instant
    to_ms: Instant
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberedStretch:
    """One time outside the band, with the number the page explains it by."""

    number: int
    from_ms: Instant
    to_ms: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One quantity over the night, values in the unit kept."""

    quantity: Quantity
    points: Sequence[tuple[Instant, float]]
    """In order of time measured."""
    beside: Sequence[Sequence[tuple[Instant, float]]] = ()
    """The same from other probes of the room, drawn thin."""
    bands: Sequence[BandStep] = ()
    stretches: Sequence[NumberedStretch] = ()
    units: Units = "metric"
    max_gap_ms: int = 15 * MINUTE_MS
    """A hole longer than this breaks the line."""
    title: str = ""
    """The quantity's name when empty."""


def night_chart(
    *,
    panels: Sequence[Panel],
    from_ms: Instant,
    to_ms: Instant,
    ticks: Sequence[tuple[Instant, str]],
    width: int,
    phrases: Phrases = ENGLISH,
) -> str:
    """The chart, drawn for a place ``width`` pixels wide, where its words are 13 px high; it scales from there.

    Raises:
        ValueError: the night has no length, or the width leaves no room to draw.
    """
    if to_ms <= from_ms:
        raise ValueError("a night ends after it begins")
    if width <= 2 * (_LEFT + _RIGHT):
        raise ValueError(f"{width} px is too narrow for a chart")
    height = PANEL_HEIGHT * len(panels) + _FOOT
    body: list[str] = []
    for place, panel in enumerate(panels):
        frame = _frame(panel, place, from_ms, to_ms, width)
        body += [*_grid(frame, ticks), *_panel(panel, frame, phrases)]
    body += _hours(ticks, from_ms, to_ms, width, height)
    label = ". ".join(_label(panel, from_ms, to_ms, phrases) for panel in panels)
    return (
        f'<svg class="night-chart" role="img" aria-label="{attribute(label)}" viewBox="0 0 {width} {height}"'
        f' width="100%" font-family="inherit">{"".join(body)}</svg>'
    )


def _frame(panel: Panel, place: int, from_ms: Instant, to_ms: Instant, width: int) -> Frame:
    bottom, top = _extent(panel, from_ms, to_ms)
    return Frame(
        from_ms=from_ms,
        to_ms=to_ms,
        left=_LEFT,
        right=width - _RIGHT,
        top=place * PANEL_HEIGHT + _HEAD,
        bottom=place * PANEL_HEIGHT + _HEAD + _PLOT,
        low=bottom,
        high=top,
    )


def _extent(panel: Panel, from_ms: Instant, to_ms: Instant) -> tuple[float, float]:
    """Lowest and highest value to draw: readings and band edges, and a little room around them."""
    seen = [value for line in (panel.points, *panel.beside) for at, value in line if from_ms <= at <= to_ms]
    seen += [edge for step in panel.bands for edge in (step.low, step.high) if edge is not None]
    if not seen:
        return 0.0, 1.0
    room = (max(seen) - min(seen)) * _HEADROOM or max(abs(max(seen)) * _HEADROOM, 1.0)
    return min(seen) - room, max(seen) + room


def _panel(panel: Panel, frame: Frame, phrases: Phrases) -> Iterator[str]:
    unit = scale_of(panel.quantity, panel.units).page_unit.strip()
    title = _title(panel, phrases)
    yield words(title, f'x="{_LEFT}" y="{figure(frame.top - 9)}"', size=15, fill=INK, bold=True)
    yield words(unit, f'x="{figure(frame.right)}" y="{figure(frame.top - 9)}"', size=13, anchor="end")
    yield from _bands(panel.bands, frame)
    yield from _shades(panel.stretches, frame)
    yield from _holes(panel, frame, phrases)
    for line in panel.beside:
        yield _path(line_path(line, frame, panel.max_gap_ms), SOFT, 1)
    yield _path(line_path(panel.points, frame, panel.max_gap_ms), INK, 1.6)
    for stretch in panel.stretches:
        inside = [p for p in panel.points if stretch.from_ms <= p[0] <= stretch.to_ms]
        yield _path(line_path(inside, frame, panel.max_gap_ms), OUT, 3)
    yield from _values(panel, frame)


def _grid(frame: Frame, ticks: Iterable[tuple[Instant, str]]) -> Iterator[str]:
    yield (
        f'<rect x="{_LEFT}" y="{figure(frame.top)}" width="{figure(frame.right - frame.left)}"'
        f' height="{figure(frame.bottom - frame.top)}" fill="none" stroke="{RAIL}"/>'
    )
    for at, _ in ticks:
        if frame.from_ms < at < frame.to_ms:
            x = figure(frame.x(at))
            yield f'<path d="M{x} {figure(frame.top)}V{figure(frame.bottom)}" stroke="{RAIL}" stroke-width=".7"/>'


def _bands(bands: Iterable[BandStep], frame: Frame) -> Iterator[str]:
    for step in bands:
        left, right = frame.x(step.from_ms), frame.x(step.to_ms)
        if right > left and (step.low is not None or step.high is not None):
            top = frame.top if step.high is None else frame.y(step.high)
            bottom = frame.bottom if step.low is None else frame.y(step.low)
            yield _rectangle(left, right, top, bottom, f'fill="{BAND}"')


def _shades(stretches: Iterable[NumberedStretch], frame: Frame) -> Iterator[str]:
    for stretch in stretches:
        left, right = frame.x(stretch.from_ms), frame.x(stretch.to_ms)
        if stretch.to_ms >= frame.from_ms and stretch.from_ms <= frame.to_ms:
            right = max(right, left + 2)
            yield _rectangle(left, right, frame.top, frame.bottom, f'fill="{OUT}" fill-opacity=".13"')
            at = min(max((left + right) / 2, frame.left + 8), frame.right - 8)
            place = f'x="{figure(at)}" y="{figure(frame.top + 14)}"'
            yield words(str(stretch.number), place, size=14, fill=OUT, anchor="middle", bold=True)


def _holes(panel: Panel, frame: Frame, phrases: Phrases) -> Iterator[str]:
    for start, end in holes(panel.points, frame, panel.max_gap_ms):
        if frame.x(end) - frame.x(start) >= _GAP_ROOM:
            middle = (frame.x(start) + frame.x(end)) / 2
            place = f'x="{figure(middle)}" y="{figure(frame.bottom - 8)}"'
            yield words(phrases.chart_gap, place, size=13, anchor="middle")


def _values(panel: Panel, frame: Frame) -> Iterator[str]:
    """The band's edges at the left, and how far readings went beyond them, or to where an edge is missing."""
    edges = {edge for step in panel.bands for edge in (step.low, step.high) if edge is not None}
    shown = {edge: edge_on_page(panel.quantity, edge, panel.units) for edge in sorted(edges)}
    seen = [value for at, value in panel.points if frame.from_ms <= at <= frame.to_ms]
    for value in (min(seen), max(seen)) if seen else ():
        if len(edges) < _EDGES_OF_A_BAND or not min(edges) <= value <= max(edges):
            shown.setdefault(value, bare_on_page(panel.quantity, value, panel.units))
    written: list[float] = []
    for value, figures in shown.items():
        y = frame.y(value)
        if all(abs(y - other) >= _LABEL_ROOM for other in written):
            written.append(y)
            yield _value(figures, y)


def _value(shown: str, y: float) -> str:
    return words(shown, f'x="{_LEFT - 6}" y="{figure(y + 4.5)}"', size=13, anchor="end")


def _hours(
    ticks: Iterable[tuple[Instant, str]], from_ms: Instant, to_ms: Instant, width: int, height: int
) -> Iterator[str]:
    """As many hours as have room, from the first on."""
    free_from = 0.0
    for at, name in ticks:
        x = _LEFT + (at - from_ms) / (to_ms - from_ms) * (width - _LEFT - _RIGHT)
        if from_ms <= at <= to_ms and x >= free_from:
            free_from = x + _TICK_ROOM
            anchor = "end" if x > width - _RIGHT - _TICK_ROOM / 2 else "middle"
            place = f'x="{figure(x)}" y="{height - 8}"'
            yield words(name, place, size=13, anchor=anchor)


def _label(panel: Panel, from_ms: Instant, to_ms: Instant, phrases: Phrases) -> str:
    title = _title(panel, phrases)
    seen = [value for at, value in panel.points if from_ms <= at <= to_ms]
    if not seen:
        return phrases.chart_empty.format(title=title)
    lowest, highest = (on_page(panel.quantity, v, panel.units) for v in (min(seen), max(seen)))
    said = phrases.chart_panel.format(title=title, lowest=lowest, highest=highest)
    if not panel.stretches:
        return said
    one, several = phrases.chart_stretches
    count = len(panel.stretches)
    return f"{said}; {(one if count == 1 else several).format(count=count)}"


def _title(panel: Panel, phrases: Phrases) -> str:
    name = panel.title or phrases.quantity[panel.quantity]
    return name[:1].upper() + name[1:]


def _rectangle(left: float, right: float, top: float, bottom: float, look: str) -> str:
    return (
        f'<rect x="{figure(left)}" y="{figure(top)}" width="{figure(right - left)}"'
        f' height="{figure(max(bottom - top, 0))}" {look}/>'
    )


def _path(path: str, colour: str, thick: float) -> str:
    if not path:
        return ""
    return (
        f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{thick:g}"'
        f' stroke-linejoin="round" stroke-linecap="round"/>'
    )
