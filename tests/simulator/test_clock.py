"""The simulator's clock: farm time from three figures that the service is told too."""

from __future__ import annotations

import threading

import pytest

from simulator.clock import FarmClock

pytestmark = pytest.mark.pure

WALL_MS = 1_000_000_000_000
FARM_MS = 1_794_970_200_000


def clock(wall_ms: int = WALL_MS, factor: float = 20.0) -> FarmClock:
    return FarmClock(anchor_wall_ms=WALL_MS, anchor_farm_ms=FARM_MS, factor=factor, read_wall_ms=lambda: wall_ms)


def test_a_wall_minute_is_twenty_farm_minutes() -> None:
    assert clock(WALL_MS + 60_000).farm_now_ms() == FARM_MS + 20 * 60_000


def test_farm_and_wall_convert_both_ways() -> None:
    assert clock().wall_at_ms(clock().farm_at_ms(WALL_MS + 12_345)) == WALL_MS + 12_345


def test_a_clock_that_stands_is_refused() -> None:
    with pytest.raises(ValueError, match="run forwards"):
        clock(factor=0.0)


def test_a_moment_that_has_come_needs_no_waiting() -> None:
    assert clock().wait_until(FARM_MS, threading.Event())


def test_waiting_ends_when_told_to_stop() -> None:
    stop = threading.Event()
    stop.set()
    assert not clock().wait_until(FARM_MS + 10**9, stop)
