"""How long, how far and how much a room was outside its band.

Computed from readings alone, whatever was told at the time: the same readings give the same stretches, also when
some of them came a day late. The arithmetic is exact for readings at any moments: a value holds from its moment
until the probe's next one, but no longer than :attr:`rules.room_state.Held.until_ms`; after that nobody can say,
and that time counts neither as inside nor as outside.

The room's value is that of the farthest-out probe: the lowest for the low edge, the highest for the high edge. A
value on the edge is inside. Area is in the quantity's unit times minutes: 3 points too dry for 10 minutes is 30.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from rules.model import EDGES, MINUTE_MS, Instant, Reading, Side
from rules.room_state import Held


@dataclass(frozen=True, slots=True, kw_only=True)
class BandFrom:
    """The band from one moment on, until the next; an absent edge is not judged."""

    from_ms: Instant
    low: float | None = None
    high: float | None = None

    def edge(self, side: Side) -> float | None:
        """The edge on one side."""
        return self.low if side is Side.LOW else self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One time outside one side of the band.

    A gap in the readings neither ends a stretch nor lengthens it: ``outside_ms`` and ``area`` count known time
    only, so they may be less than ``from_ms`` to ``to_ms`` suggests.
    """

    side: Side
    from_ms: Instant
    to_ms: Instant | None
    """First moment known to be inside again; ``None`` if that did not come before the span ended."""
    last_ms: Instant
    """Until when it is known to have been outside."""
    worst: float
    worst_ms: Instant
    """When the worst value was first seen."""
    depth: float
    """How far outside the band the worst value was, by the band that held then; always positive."""
    outside_ms: int
    area: float
    """Unit times minutes."""

    @property
    def minutes(self) -> float:
        """Known time outside, in minutes."""
        return self.outside_ms / MINUTE_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """A span of one quantity in one room."""

    from_ms: Instant
    to_ms: Instant
    stretches: tuple[Stretch, ...]
    """In order of their beginning."""
    known_ms: int
    """Time for which at least one probe held a value."""

    @property
    def coverage(self) -> float:
        """Known share of the span, 0 to 1."""
        return self.known_ms / (self.to_ms - self.from_ms)

    @property
    def outside_ms(self) -> int:
        """Known time outside, both sides."""
        return sum(s.outside_ms for s in self.stretches)

    @property
    def area(self) -> float:
        """Unit times minutes, both sides."""
        return sum(s.area for s in self.stretches)


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A time over which band and farthest-out values did not change."""

    from_ms: Instant
    to_ms: Instant
    lowest: float | None
    """``None`` while no probe holds a value; then ``highest`` is ``None`` too."""
    highest: float | None
    band: BandFrom

    def value(self, side: Side) -> float | None:
        """The farthest-out value on one side."""
        return self.lowest if side is Side.LOW else self.highest

    def depth(self, side: Side) -> float:
        """How far outside on one side; 0 inside, or without a value or an edge."""
        value, edge = self.value(side), self.band.edge(side)
        if value is None or edge is None:
            return 0.0
        return max(edge - value if side is Side.LOW else value - edge, 0.0)


def exposure(
    readings: Iterable[Reading], *, bands: Sequence[BandFrom], from_ms: Instant, to_ms: Instant
) -> Exposure:
    """Find the stretches outside the band in ``from_ms`` to ``to_ms``.

    Args:
        readings: of one room and quantity, any order; those before the span tell what held at its beginning.
        bands: in order of time; before the first of them nothing is judged.
        from_ms: beginning of the span.
        to_ms: its end, exclusive.

    Raises:
        ValueError: the span has no length, or the readings are of several quantities.
    """
    cut = tuple(pieces(readings, bands=bands, from_ms=from_ms, to_ms=to_ms))
    found = [stretch for side in EDGES for stretch in _stretches(cut, side)]
    return Exposure(
        from_ms=from_ms,
        to_ms=to_ms,
        stretches=tuple(sorted(found, key=lambda s: (s.from_ms, s.side))),
        known_ms=sum(p.to_ms - p.from_ms for p in cut if p.lowest is not None),
    )


def spread(readings: Iterable[Reading], *, from_ms: Instant, to_ms: Instant) -> tuple[float, float] | None:
    """Lowest and highest reading measured from ``from_ms`` to ``to_ms`` (exclusive); ``None`` without any."""
    values = [r.value for r in readings if from_ms <= r.at_ms < to_ms]
    return (min(values), max(values)) if values else None


def pieces(
    readings: Iterable[Reading], *, bands: Sequence[BandFrom], from_ms: Instant, to_ms: Instant
) -> Iterator[Piece]:
    """Cut the span where a reading, the end of a hold or a step of the band changes anything.

    Raises:
        ValueError: the span has no length, or the readings are of several quantities.
    """
    if to_ms <= from_ms:
        raise ValueError("a span ends after it begins")
    holds = list(_holds(readings))
    moments = {from_ms, to_ms, *(b.from_ms for b in bands), *(t for start, end, _ in holds for t in (start, end))}
    ordered = sorted(t for t in moments if from_ms <= t <= to_ms)
    running = _Running(holds)
    band, coming = BandFrom(from_ms=0), list(reversed(bands))
    for start, end in pairwise(ordered):
        while coming and coming[-1].from_ms <= start:
            band = coming.pop()
        lowest, highest = running.at(start)
        yield Piece(from_ms=start, to_ms=end, lowest=lowest, highest=highest, band=band)


def _holds(readings: Iterable[Reading]) -> Iterator[tuple[Instant, Instant, float]]:
    """From when to when each value speaks for its probe."""
    unique = {(r.probe, r.at_ms): r for r in readings}
    if len({r.quantity for r in unique.values()}) > 1:
        raise ValueError("the readings are of several quantities")
    ordered = [unique[identity] for identity in sorted(unique)]
    for _, group in groupby(ordered, key=lambda r: r.probe):
        yield from _holds_of_one(list(group))


def _holds_of_one(readings: Sequence[Reading]) -> Iterator[tuple[Instant, Instant, float]]:
    held: Held | None = None
    for reading in readings:
        if held is not None:
            yield held.at_ms, min(held.until_ms, reading.at_ms), held.value
        at_ms, value = reading.at_ms, reading.value
        held = Held(value=value, at_ms=at_ms) if held is None else held.followed_by(value, at_ms)
    if held is not None:
        yield held.at_ms, held.until_ms, held.value


class _Running:
    """The values that hold at a moment, asked in order of time."""

    def __init__(self, holds: Iterable[tuple[Instant, Instant, float]]) -> None:
        self._coming = sorted(holds, reverse=True)
        self._present: list[tuple[Instant, float]] = []

    def at(self, at_ms: Instant) -> tuple[float | None, float | None]:
        """Lowest and highest value that holds at ``at_ms``."""
        while self._coming and self._coming[-1][0] <= at_ms:
            _, end, value = self._coming.pop()
            self._present.append((end, value))
        self._present = [(end, value) for end, value in self._present if end > at_ms]
        values = [value for _, value in self._present]
        return (min(values), max(values)) if values else (None, None)


@dataclass(slots=True, kw_only=True)
class _Open:
    """A stretch that is being followed."""

    side: Side
    from_ms: Instant
    last_ms: Instant
    worst: float
    worst_ms: Instant
    depth: float = 0.0
    outside_ms: int = 0
    area: float = 0.0

    def add(self, piece: Piece, value: float) -> None:
        length, depth = piece.to_ms - piece.from_ms, piece.depth(self.side)
        self.outside_ms += length
        self.area += depth * length / MINUTE_MS
        self.last_ms = piece.to_ms
        if depth > self.depth:
            self.worst, self.worst_ms, self.depth = value, piece.from_ms, depth

    def closed(self, to_ms: Instant | None) -> Stretch:
        return Stretch(
            side=self.side,
            from_ms=self.from_ms,
            to_ms=to_ms,
            last_ms=self.last_ms,
            worst=self.worst,
            worst_ms=self.worst_ms,
            depth=self.depth,
            outside_ms=self.outside_ms,
            area=self.area,
        )


def _stretches(cut: Iterable[Piece], side: Side) -> Iterator[Stretch]:
    going: _Open | None = None
    for piece in cut:
        value = piece.value(side)
        if value is None:
            continue
        if piece.depth(side) > 0:
            at_ms = piece.from_ms
            going = going or _Open(side=side, from_ms=at_ms, last_ms=at_ms, worst=value, worst_ms=at_ms)
            going.add(piece, value)
        elif going is not None:
            yield going.closed(piece.from_ms)
            going = None
    if going is not None:
        yield going.closed(None)
