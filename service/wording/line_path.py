"""From readings to the line that is drawn: as many points as there are pixels, no peak lost, no hole joined."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from rules.model import Instant
from service.wording.svg import figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A rectangle in pixels and the times and values it stands for."""

    from_ms: Instant
    to_ms: Instant
    left: float
    right: float
    top: float
    bottom: float
    low: float
    high: float

    def x(self, at_ms: Instant) -> float:
        """Moments before or after the frame are drawn on its edge."""
        share = (min(max(at_ms, self.from_ms), self.to_ms) - self.from_ms) / (self.to_ms - self.from_ms)
        return self.left + share * (self.right - self.left)

    def y(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.bottom - share * (self.bottom - self.top)


Point = tuple[Instant, float]


def line_path(points: Sequence[Point], frame: Frame, max_gap_ms: int) -> str:
    """SVG path data; a lone reading between two holes becomes a dot."""
    inside = [point for point in points if frame.from_ms <= point[0] <= frame.to_ms]
    return "".join(_run_path(_thinned(run, frame), frame) for run in _runs(inside, max_gap_ms))


def holes(points: Sequence[Point], frame: Frame, max_gap_ms: int) -> list[tuple[Instant, Instant]]:
    """The times without readings, also before the first and after the last."""
    times = [at for at, _ in points if frame.from_ms <= at <= frame.to_ms]
    bounds = [frame.from_ms, *times, frame.to_ms]
    return [(start, end) for start, end in pairwise(bounds) if end - start > max_gap_ms]


def _runs(points: Sequence[Point], max_gap_ms: int) -> Iterator[list[Point]]:
    run: list[Point] = []
    for point in points:
        if run and point[0] - run[-1][0] > max_gap_ms:
            yield run
            run = []
        run.append(point)
    if run:
        yield run


def _thinned(run: Sequence[Point], frame: Frame) -> Iterator[Point]:
    """First, lowest, highest and last of every pixel column, in order of time."""
    for _, column in groupby(run, key=lambda point: int(frame.x(point[0]))):
        points = list(column)
        lowest, highest = min(points, key=lambda p: p[1]), max(points, key=lambda p: p[1])
        yield from sorted({points[0], lowest, highest, points[-1]})


def _run_path(run: Iterator[Point], frame: Frame) -> str:
    places = [f"{figure(frame.x(at))} {figure(frame.y(value))}" for at, value in run]
    return f"M{places[0]}" + ("".join(f"L{place}" for place in places[1:]) or "h.01")
