"""The simulator's own clock: the only place in it that reads wall time.

Service and simulator are told the same three figures (where the wall clock stood, where the farm clock
stood, how fast the farm runs), so both compute the same farm time without talking to each other.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

# Farm time must follow the machine's clock: it is compared with the service's clock in another process.
_READ_WALL: Final[Callable[[], float]] = time.time  # noqa: TID251 - the one reader of wall time here

LONGEST_WAIT_S: Final = 1.0
"""A wait wakes at least this often, so that a changed wall clock cannot hold it for long."""


def wall_now_ms() -> int:
    return int(_READ_WALL() * 1000)


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmClock:
    """Farm time that runs ``factor`` times as fast as wall time from a common anchor."""

    anchor_wall_ms: int
    anchor_farm_ms: int
    factor: float = 1.0
    read_wall_ms: Callable[[], int] = wall_now_ms

    def __post_init__(self) -> None:
        if not self.factor > 0:
            raise ValueError(f"the farm clock must run forwards, factor {self.factor} does not")

    def farm_now_ms(self) -> int:
        return self.farm_at_ms(self.read_wall_ms())

    def farm_at_ms(self, wall_ms: int) -> int:
        return self.anchor_farm_ms + round((wall_ms - self.anchor_wall_ms) * self.factor)

    def wall_at_ms(self, farm_ms: int) -> int:
        return self.anchor_wall_ms + round((farm_ms - self.anchor_farm_ms) / self.factor)

    def wait_until(self, farm_ms: int, stop: threading.Event) -> bool:
        """Wait for a farm moment; False when told to stop before it came."""
        while (left_ms := farm_ms - self.farm_now_ms()) > 0:
            if stop.wait(min(LONGEST_WAIT_S, left_ms / self.factor / 1000)):
                return False
        return not stop.is_set()
