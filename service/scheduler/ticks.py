"""The ticks of the service. APScheduler only rings; what is due is asked of the database every time.

So a missed tick, a restart or a clock change loses nothing and does nothing twice. Intervals are by the wall.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.interval import IntervalTrigger

from service.errors import PassingError
from service.log import log


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """Something to be asked again and again."""

    name: str
    every_s: float
    ask: Callable[[], Awaitable[object]]


def start_ticks(ticks: list[Tick], *, done: Callable[[str], None] = lambda _name: None) -> AsyncIOScheduler:
    """Ring every tick at its interval; a tick that is still busy is not rung again.

    ``done`` is told the name of each tick that went through.
    """
    scheduler = AsyncIOScheduler(timezone="UTC")
    for tick in ticks:
        scheduler.add_job(
            _contained(tick, done),
            IntervalTrigger(seconds=tick.every_s),
            id=tick.name,
            max_instances=1,
            coalesce=True,
            misfire_grace_time=None,
        )
    scheduler.start()
    return scheduler


def _contained(tick: Tick, done: Callable[[str], None]) -> Callable[[], Awaitable[None]]:
    async def ring() -> None:
        try:
            await tick.ask()
            done(tick.name)
        except PassingError as error:
            log.warning("tick put off", tick=tick.name, cause=str(error))
        except Exception:  # noqa: BLE001 - the next tick must come
            log.exception("tick failed", tick=tick.name)

    return ring
