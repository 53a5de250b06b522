"""The band strip: one quantity of one room as one thin line that can be read across a room.

Every strip is drawn to its own band and not to the quantity: the band always fills the middle third, and each
outer third is one more band's width. So the same place means the same thing in every house, whatever grows
there, and no half of the line is spent on figures that never occur. An absent edge (CO2 usually has no low one)
lets the band run to the end of the line. What lies further out stands at the end.

Inside the band the mark is a plain upright. Outside it the line breaks between band and mark, and the word "low"
or "high" stands in the break: nobody has to tell two colours apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from rules.model import Quantity, Side
from service.wording.format import band_on_page, bare_on_page, edge_on_page, on_page
from service.wording.phrases import ENGLISH, Phrases
from service.wording.svg import BAND, INK, OUT, PAPER, RAIL, SMEAR, attribute, figure, words
from service.wording.units import Units

HEIGHT: Final = 42
_MIDDLE: Final = 14
_THIRD: Final = 100 / 3
_ENDS: Final = (1.5, 98.5)
"""Per cent of the width that marks keep to, so that none is cut off at the edge."""
_FULL_HUMIDITY: Final = 100.0
_LEAST_WIDTH: Final = 1e-6
_NATURAL_LOW: Final = {Quantity.CO2: 400.0, Quantity.HUMIDITY: 0.0}
"""Where a band without a low edge begins on the line: outdoor air holds about 400 ppm of CO2."""
_USUAL_WIDTH: Final = {Quantity.HUMIDITY: 10.0, Quantity.CO2: 600.0}
"""Band width assumed where only one edge is known; 5 (degrees Celsius, mostly) for all others."""
_WORD_NEEDS: Final = 22
"""Per cent of the width that a word needs on a narrow phone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A drawn strip, the same in words, and the one word that matters ("low", "high" or nothing)."""

    svg: str
    label: str
    word: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """What one strip is to show, in the unit kept."""

    quantity: Quantity
    low: float | None
    high: float | None
    now: float | None
    spread: tuple[float, float] | None
    units: Units

    @property
    def side(self) -> Side | None:
        if self.now is None:
            return None
        if self.low is not None and self.now < self.low:
            return Side.LOW
        return Side.HIGH if self.high is not None and self.now > self.high else None

    @property
    def seen(self) -> list[float]:
        return [value for value in (self.now, *(self.spread or ())) if value is not None]


def band_strip(
    *,
    quantity: Quantity,
    low: float | None,
    high: float | None,
    now: float | None,
    spread: tuple[float, float] | None,
    units: Units,
    phrases: Phrases = ENGLISH,
) -> Strip:
    """Draw ``now`` and last night's ``spread`` (lowest, highest) against the band, all in the unit kept.

    The drawing fills the width it is given and is :data:`HEIGHT` pixels high; its words keep their size.

    Raises:
        ValueError: the quantity is a contact, which has no band.
    """
    shown = _Shown(quantity=quantity, low=low, high=high, now=now, spread=spread, units=units)
    side = shown.side
    word = phrases.side[side] if side else None
    label = _label(shown, word, phrases)
    knots = _knots(shown)
    mark = None if now is None else _place(now, knots)
    edges = (0.0 if low is None else _place(low, knots), 100.0 if high is None else _place(high, knots))
    parts = [*_rail(mark, edges, side)]
    if low is not None or high is not None:
        parts += [_bar(*edges, thick=14, fill=BAND), *_edge_figures(shown, edges)]
    if spread is not None:
        parts.append(_bar(_place(min(spread), knots), _place(max(spread), knots), thick=6, fill=SMEAR))
    if mark is not None:
        parts += _mark(mark, edges, side, word)
    return Strip(svg=_framed(label, parts), label=label, word=word)


def _label(shown: _Shown, word: str | None, phrases: Phrases) -> str:
    what = phrases.quantity[shown.quantity]
    what = what[:1].upper() + what[1:]
    band = band_on_page(shown.quantity, shown.low, shown.high, shown.units, phrases)
    if shown.now is None:
        said = [phrases.strip_no_reading.format(what=what)]
    else:
        sentence = phrases.strip_outside if word else phrases.strip_now
        value = on_page(shown.quantity, shown.now, shown.units)
        said = [sentence.format(what=what, value=value, side=word)]
    said.append(phrases.strip_band.format(band=band) if band else phrases.strip_no_band)
    if shown.spread is not None:
        said.append(
            phrases.strip_spread.format(
                lowest=bare_on_page(shown.quantity, min(shown.spread), shown.units),
                highest=on_page(shown.quantity, max(shown.spread), shown.units),
            )
        )
    return "; ".join(said)


def _knots(shown: _Shown) -> Sequence[tuple[float, float]]:
    """Pairs of (value, per cent of the width) that the line is drawn through, values rising."""
    low, high = shown.low, shown.high
    usual = _USUAL_WIDTH.get(shown.quantity, 5.0)
    if low is None and high is None:
        lowest, highest = min(shown.seen, default=0.0), max(shown.seen, default=0.0)
        half = max(usual, highest - lowest)
        middle = (lowest + highest) / 2
        return ((middle - half, 0.0), (middle + half, 100.0))
    if low is None and high is not None:
        start = min(_NATURAL_LOW.get(shown.quantity, high - usual), high - _LEAST_WIDTH)
        return ((start, 0.0), (high, 2 * _THIRD), (_right_end(shown, high, high - start), 100.0))
    if low is not None and high is None:
        return ((low - usual, 0.0), (low, _THIRD), (_right_end(shown, low, 2 * usual), 100.0))
    return _two_edged(shown, low or 0.0, high or 0.0)


def _two_edged(shown: _Shown, low: float, high: float) -> Sequence[tuple[float, float]]:
    width = max(high - low, _LEAST_WIDTH)
    if shown.quantity is Quantity.HUMIDITY and high >= _FULL_HUMIDITY:
        return ((low - width, 0.0), (low, _THIRD), (low + width, 100.0))
    high = low + width
    return ((low - width, 0.0), (low, _THIRD), (high, 2 * _THIRD), (_right_end(shown, high, width), 100.0))


def _right_end(shown: _Shown, edge: float, width: float) -> float:
    """The value at the right end: one width past the edge, but air holds no more than 100 %RH."""
    end = edge + width
    if shown.quantity is Quantity.HUMIDITY:
        end = min(end, _FULL_HUMIDITY)
    return max(end, edge + _LEAST_WIDTH)


def _place(value: float, knots: Sequence[tuple[float, float]]) -> float:
    for (left, from_percent), (right, to_percent) in pairwise(knots):
        if value <= right:
            share = max(value - left, 0.0) / (right - left)
            return from_percent + min(share, 1.0) * (to_percent - from_percent)
    return knots[-1][1]


def _rail(mark: float | None, edges: tuple[float, float], side: Side | None) -> Iterable[str]:
    """The line itself: with a gap where the value has left the band, dotted when there is no value."""
    if mark is None or side is None:
        yield _line(0, 100, dashed=mark is None)
    elif side is Side.LOW:
        yield from (_line(0, mark), _line(edges[0], 100))
    else:
        yield from (_line(0, edges[1]), _line(mark, 100))


def _line(start: float, end: float, *, dashed: bool = False) -> str:
    dashes = ' stroke-dasharray="2 6"' if dashed else ""
    return (
        f'<line x1="{figure(start)}%" x2="{figure(end)}%" y1="{_MIDDLE}" y2="{_MIDDLE}"'
        f' stroke="{RAIL}" stroke-width="2"{dashes}/>'
    )


def _bar(start: float, end: float, *, thick: int, fill: str) -> str:
    width = max(end - start, 1.0)
    return (
        f'<rect x="{figure(min(start, 99))}%" width="{figure(width)}%" y="{figure(_MIDDLE - thick / 2)}"'
        f' height="{thick}" rx="{min(thick / 2, 3):g}" fill="{fill}"/>'
    )


def _edge_figures(shown: _Shown, edges: tuple[float, float]) -> Iterable[str]:
    for value, place in ((shown.low, edges[0]), (shown.high, edges[1])):
        if value is not None:
            yield words(
                edge_on_page(shown.quantity, value, shown.units),
                f'x="{figure(place)}%" y="{HEIGHT - 4}"',
                size=13,
                anchor="middle" if place < _ENDS[1] else "end",
            )


def _mark(mark: float, edges: tuple[float, float], side: Side | None, word: str | None) -> Iterable[str]:
    at = min(max(mark, _ENDS[0]), _ENDS[1])
    colour = OUT if side else INK
    if side:
        yield _notch(edges, side)
    yield (
        f'<line x1="{figure(at)}%" x2="{figure(at)}%" y1="3" y2="{2 * _MIDDLE - 3}" stroke="{PAPER}"'
        f' stroke-width="9" stroke-linecap="round"/>'
    )
    yield (
        f'<line x1="{figure(at)}%" x2="{figure(at)}%" y1="3" y2="{2 * _MIDDLE - 3}" stroke="{colour}"'
        f' stroke-width="5" stroke-linecap="round"/>'
    )
    if side and word:
        yield _word(at, edges, side, word)


def _notch(edges: tuple[float, float], side: Side) -> str:
    """Cut the line at the band's edge, so that the break shows where last night's spread runs across it."""
    edge, step = (edges[0], -4) if side is Side.LOW else (edges[1], 4)
    return (
        f'<line x1="{figure(edge)}%" x2="{figure(edge)}%" y1="6" y2="{2 * _MIDDLE - 6}" stroke="{PAPER}"'
        f' stroke-width="7" transform="translate({step} 0)"/>'
    )


def _word(at: float, edges: tuple[float, float], side: Side, word: str) -> str:
    """The word stands in the break of the line, or on the outer side of the mark when the break is small."""
    gap = edges[0] - at if side is Side.LOW else at - edges[1]
    towards_band = gap >= _WORD_NEEDS
    rightwards = towards_band is (side is Side.LOW)
    return words(
        word,
        f'x="{figure(at)}%" dx="{7 if rightwards else -7}" y="{_MIDDLE + 5}"',
        size=15,
        fill=OUT,
        anchor="start" if rightwards else "end",
        bold=True,
        clear=True,
    )


def _framed(label: str, parts: Iterable[str]) -> str:
    return (
        f'<svg class="band-strip" role="img" aria-label="{attribute(label)}" width="100%" height="{HEIGHT}"'
        f' font-family="inherit">{"".join(parts)}</svg>'
    )
