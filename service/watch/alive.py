"""Whether we truly do our work: for the state, and before anything off the farm is told that we live."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.storage import machine, outbox
from service.storage.rows import Record
from service.watch.desk import Desk

SWEEP_STALE_MS: Final = 2 * MINUTE_MS
"""By the wall: many times the interval at which rooms are gone round, and enough for a long round after a gap."""
UNTRIED_MS: Final = 2 * MINUTE_MS
"""By the wall: a telling that is due and that nobody tried for so long is stuck."""
TURNED_DOWN_MS: Final = 10 * MINUTE_MS
"""Nobody can be woken for so long."""
TICK: Final = "tick "
"""Begins the pulse of a regular task; its detail is the interval in seconds."""
INTERVALS: Final = 3
"""A task that has not run for so many of its intervals, and a minute, is stale."""
OUTSIDE: Final = "outside watch"
"""The pulse of the last call to the outside, or of why there was none."""
OUTSIDE_ANSWERED: Final = "outside watch answered"
_PART: Final = "alive"


@dataclass(frozen=True, slots=True, kw_only=True)
class TickRun:
    """A regular task, as its pulse has it."""

    name: str
    last_ms: Instant
    every_s: float
    is_stale: bool


def is_sweep_stale(desk: Desk, now_ms: Instant) -> bool:
    """Whether rooms have not been gone round for too long."""
    last_ms = desk.sweep.last_ms
    return last_ms is None or now_ms - last_ms > SWEEP_STALE_MS * desk.clock.factor


def is_stuck(desk: Desk, untried_ms: Instant | None, now_ms: Instant) -> bool:
    """Whether something waits to be told and nobody tries; ``untried_ms`` is since when."""
    return untried_ms is not None and now_ms - untried_ms > UNTRIED_MS * desk.clock.factor


def is_turned_down(turned_down_ms: Instant | None, now_ms: Instant) -> bool:
    """Whether texts and calls have not got out for too long; ``turned_down_ms`` is since when they are tried."""
    return turned_down_ms is not None and now_ms - turned_down_ms > TURNED_DOWN_MS


def hears_broker(desk: Desk, now_ms: Instant) -> bool:
    """Whether nothing stands between the probes and us; true on a farm without a broker."""
    return desk.horizon.limit_ms(now_ms) >= now_ms


def tick_runs(desk: Desk, pulses: list[Record], now_ms: Instant) -> tuple[TickRun, ...]:
    """When each regular task last went through."""
    return tuple(_tick_run(desk, row, now_ms) for row in pulses if row["part"].startswith(TICK))


def _tick_run(desk: Desk, row: Record, now_ms: Instant) -> TickRun:
    every_s = float(row["detail"])
    longest_ms = (INTERVALS * every_s * SECOND_MS + MINUTE_MS) * desk.clock.factor
    return TickRun(
        name=row["part"].removeprefix(TICK),
        last_ms=row["at_ms"],
        every_s=every_s,
        is_stale=now_ms - row["at_ms"] > longest_ms,
    )


async def why_not_alive(desk: Desk) -> tuple[str, ...]:
    """What keeps us from doing our work at this moment; nothing, while we do it.

    Raises:
        PassingError: the database cannot be used just now: we do not do our work either.
    """
    now_ms = desk.clock.now_ms()
    async with desk.database.write() as connection:
        await machine.beat(connection, desk.farm_id, _PART, now_ms, "")
        untried_ms = await outbox.untried_since_ms(connection, desk.farm_id, now_ms)
        turned_down_ms = await outbox.turned_down_since_ms(connection, desk.farm_id)
        pulses = await machine.all_pulses(connection, desk.farm_id)
    said = {
        "rooms are not judged": is_sweep_stale(desk, now_ms),
        "texts wait and are not tried": is_stuck(desk, untried_ms, now_ms),
        "texts and calls do not get out": is_turned_down(turned_down_ms, now_ms),
        "the broker is not heard": not hears_broker(desk, now_ms),
        "a regular task does not run": any(run.is_stale for run in tick_runs(desk, pulses, now_ms)),
    }
    return tuple(words for words, holds in said.items() if holds)
