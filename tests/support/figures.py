"""Timing pieces of work beside each other, and printing what came of it."""

from __future__ import annotations

import sys
import time
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """A piece of work that handles ``count`` things, and how long it took in the quickest of its rounds."""

    name: str
    count: int
    seconds: float

    @property
    def per_second(self) -> float:
        return self.count / self.seconds

    @property
    def ms_each(self) -> float:
        return 1000 * self.seconds / self.count


class Stopwatch:
    """Seconds of this machine since it was made."""

    def __init__(self) -> None:
        self._start = time.perf_counter()

    @property
    def seconds(self) -> float:
        return time.perf_counter() - self._start


def quickest(works: Sequence[tuple[str, int, Callable[[], object]]], *, rounds: int = 3) -> list[Timed]:
    """Do each work once per round, in turn: a machine that is slow for a while is slow for all of them."""
    taken: dict[str, float] = {}
    for _ in range(rounds):
        for name, _count, work in works:
            watch = Stopwatch()
            work()
            taken[name] = min(watch.seconds, taken.get(name, watch.seconds))
    return [Timed(name=name, count=count, seconds=taken[name]) for name, count, _ in works]


async def quickest_of(
    works: Sequence[tuple[str, int, Callable[[], Awaitable[object]]]], *, rounds: int = 3
) -> list[Timed]:
    """As ``quickest``, for work that is awaited."""
    taken: dict[str, float] = {}
    for _ in range(rounds):
        for name, _count, work in works:
            watch = Stopwatch()
            await work()
            taken[name] = min(watch.seconds, taken.get(name, watch.seconds))
    return [Timed(name=name, count=count, seconds=taken[name]) for name, count, _ in works]


def show(title: str, rows: Sequence[Timed], *, against: Timed, each: str) -> None:
    """Print how many a second, how long each, and how many times as long as the yardstick's."""
    width = max(len(row.name) for row in rows)
    lines = [f"\n\n{title}", f"  {'':<{width}}{each + '/s':>16}{'ms each':>12}{'times':>9}"]
    lines += [
        f"  {row.name:<{width}}{row.per_second:>16,.0f}{row.ms_each:>12.4f}{row.ms_each / against.ms_each:>9.1f}"
        for row in rows
    ]
    sys.stdout.write("\n".join(lines) + "\n")
