"""What time it is. The only module that reads the machine's clock, or waits by it.

Everything that happens by time asks a :class:`Clock`. A demonstration runs on a scaled clock; tests on one that
they move by hand (``tests/support``). Nobody else may look at the wall.
"""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass
from typing import Protocol

from rules.model import Instant


class Clock(Protocol):
    """Tells the farm's present."""

    @property
    def factor(self) -> float:
        """How many farm seconds pass in one second."""
        ...

    def now_ms(self) -> Instant:
        """The present instant on the farm."""
        ...


def wall_now_ms() -> Instant:
    """The present instant by the machine's clock."""
    return time.time_ns() // 1_000_000  # noqa: TID251 - this is the one place


@dataclass(frozen=True, slots=True)
class SystemClock:
    """The machine's clock."""

    factor: float = 1.0

    def now_ms(self) -> Instant:
        return wall_now_ms()


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaledClock:
    """A clock that runs faster than the wall. Only the demonstration has one, and says so on every page."""

    anchor_wall_ms: Instant
    anchor_farm_ms: Instant
    factor: float

    def now_ms(self) -> Instant:
        return self.anchor_farm_ms + round((wall_now_ms() - self.anchor_wall_ms) * self.factor)


async def pause(seconds: float) -> None:
    """Let others run for ``seconds`` by the wall: a locked database does not care about a scaled clock."""
    await asyncio.sleep(seconds)  # noqa: TID251 - the one wait that is not on a condition
