"""Ticks ring again and again, and it is known which of them went through."""

from __future__ import annotations

from service.errors import PassingError
from service.scheduler.ticks import Tick, start_ticks
from tests.support.waiting import until


async def test_a_tick_that_fails_rings_again_and_is_not_counted_as_done() -> None:
    rung: list[str] = []
    done: list[str] = []

    async def goes() -> None:
        rung.append("goes")

    async def waits() -> None:
        rung.append("waits")
        raise PassingError("locked")

    async def breaks() -> None:
        rung.append("breaks")
        raise ValueError("a mistake")

    ticks = [Tick(name=ask.__name__, every_s=0.02, ask=ask) for ask in (goes, waits, breaks)]
    scheduler = start_ticks(ticks, done=done.append)
    try:
        await until(lambda: all(rung.count(tick.name) > 1 for tick in ticks), within_s=10)
    finally:
        scheduler.shutdown(wait=False)
    assert set(done) == {"goes"}
