"""How long, how far and how much a room was outside its band.

Computed from readings alone, whatever was told at the time: the same readings give the same stretches, also when
some of them came a day late. The arithmetic is exact for readings at any moments: a value holds from its moment
until the probe's next one, but no longer than a room is judged by it (:mod:`rules.holding`); after that nobody can
say, and that time counts neither as inside nor as outside.

The room's value is that of the farthest-out probe: the lowest for the low edge, the highest for the high edge. A
value on the edge is inside. Area is in the quantity's unit times minutes: 3 points too dry for 10 minutes is 30.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from rules.holding import Step, room_steps, spoken
from rules.model import EDGES, MINUTE_MS, Instant, Reading, Side


@dataclass(frozen=True, slots=True, kw_only=True)
class BandFrom:
    """The band from one moment on, until the next; an absent edge is not judged."""

    from_ms: Instant
    low: float | None = None
    high: float | None = None

    def edge(self, side: Side) -> float | None:
        """The edge on one side."""
        return self.low if side is Side.LOW else self.high

    def depth(self, value: float, side: Side) -> float:
        """How far ``value`` lies outside on one side; 0 inside, or without an edge."""
        edge = self.edge(side)
        if edge is None:
            return 0.0
        return max(edge - value if side is Side.LOW else value - edge, 0.0)


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
    return exposure_of(room_steps(spoken(readings).values(), from_ms=from_ms, to_ms=to_ms), bands=bands)


def exposure_of(steps: Sequence[Step], *, bands: Sequence[BandFrom]) -> Exposure:
    """The same from steps that were cut already: for holding one night against several rows of edges."""
    cut = _laid_over(steps, bands)
    found = [stretch for side in EDGES for stretch in _stretches(cut, side)]
    return Exposure(
        from_ms=steps[0].from_ms,
        to_ms=steps[-1].to_ms,
        stretches=tuple(sorted(found, key=lambda s: (s.from_ms, s.side))),
        known_ms=sum(step.to_ms - step.from_ms for step in steps if step.lowest is not None),
    )


def spread(readings: Iterable[Reading], *, from_ms: Instant, to_ms: Instant) -> tuple[float, float] | None:
    """Lowest and highest reading measured from ``from_ms`` to ``to_ms`` (exclusive); ``None`` without any."""
    values = [r.value for r in readings if from_ms <= r.at_ms < to_ms]
    return (min(values), max(values)) if values else None


def _laid_over(steps: Iterable[Step], bands: Sequence[BandFrom]) -> list[tuple[BandFrom, list[Step]]]:
    """The steps over which each band holds; a step is cut in two where the band changes within it."""
    found: list[tuple[BandFrom, list[Step]]] = [(BandFrom(from_ms=0), [])]
    coming = list(reversed(bands))
    for whole in steps:
        step = whole
        while coming and coming[-1].from_ms < step.to_ms:
            at_ms = coming[-1].from_ms
            if at_ms > step.from_ms:
                found[-1][1].append(step._replace(to_ms=at_ms))
                step = step._replace(from_ms=at_ms)
            found.append((coming.pop(), []))
        found[-1][1].append(step)
    return found


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

    def add(self, step: Step, value: float, depth: float) -> None:
        length = step.to_ms - step.from_ms
        self.outside_ms += length
        self.area += depth * length / MINUTE_MS
        self.last_ms = step.to_ms
        if depth > self.depth:
            self.worst, self.worst_ms, self.depth = value, step.from_ms, depth

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


def _stretches(cut: Iterable[tuple[BandFrom, list[Step]]], side: Side) -> Iterator[Stretch]:
    going: _Open | None = None
    for step, value, depth in _depths(cut, side):
        if depth > 0:
            at_ms = step.from_ms
            going = going or _Open(side=side, from_ms=at_ms, last_ms=at_ms, worst=value, worst_ms=at_ms)
            going.add(step, value, depth)
        elif going is not None:
            yield going.closed(step.from_ms)
            going = None
    if going is not None:
        yield going.closed(None)


def _depths(cut: Iterable[tuple[BandFrom, list[Step]]], side: Side) -> Iterator[tuple[Step, float, float]]:
    """Each step of which something is known, its value, and how far that is outside (not above 0: inside).

    As :meth:`BandFrom.depth`, written out because a night asks it ten thousand times.
    """
    for band, steps in cut:
        edge = band.edge(side)
        for step in steps:
            value = step.lowest if side is Side.LOW else step.highest
            if value is not None:
                depth = 0.0 if edge is None else (edge - value if side is Side.LOW else value - edge)
                yield step, value, depth
