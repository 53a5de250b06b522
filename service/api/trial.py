"""A real write and a real read, tried within a time that whoever asks can wait."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Final

from rules.model import Instant
from service.errors import PassingError
from service.log import log
from service.storage import machine, outbox, schema, silences, views
from service.storage.rows import Record
from service.storage.silences import SilenceRow
from service.watch.desk import Desk

WITHIN_S: Final = 3.0
_PART: Final = "state asked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What the database could do."""

    writable: bool
    readable: bool
    trouble: str | None = None
    revision: str | None = None
    revision_needed: str | None = None
    waiting: int = 0
    oldest_due_ms: Instant | None = None
    untried_ms: Instant | None = None
    """Since when a telling is due and in nobody's hands."""
    turned_down_ms: Instant | None = None
    """Since when texts or calls are tried in vain."""
    pulses: list[Record] = field(default_factory=list)
    silences: list[SilenceRow] = field(default_factory=list)


@dataclass(slots=True)
class Trial:
    """At most one at a time: a database that hangs must not collect a pile of those who ask after it."""

    _running: asyncio.Task[Tried] | None = field(default=None, init=False)

    async def within(self, seconds: float, desk: Desk) -> Tried:
        """Try, and wait for at most ``seconds``. A slow trial is left to end by itself, never broken off."""
        if self._running is None or self._running.done():
            self._running = asyncio.create_task(_try(desk))
        done, _ = await asyncio.wait({self._running}, timeout=seconds)
        if not done:
            return Tried(writable=False, readable=False, trouble=f"no answer within {seconds:g} s")
        return self._running.result()


async def _try(desk: Desk) -> Tried:
    try:
        async with desk.database.read() as connection:
            waiting, oldest_ms = await views.waiting_tellings(connection, desk.farm_id)
            untried_ms = await outbox.untried_since_ms(connection, desk.farm_id, desk.clock.now_ms())
            turned_down_ms = await outbox.turned_down_since_ms(connection, desk.farm_id)
            pulses = await machine.all_pulses(connection, desk.farm_id)
            silent = await silences.open_silences(connection, desk.farm_id)
        revision, needed = await schema.revisions(desk.database)
    except Exception as error:  # noqa: BLE001 - the honest answer to whatever it is
        return Tried(writable=False, readable=False, trouble=_trouble(error))
    trouble = None
    try:
        async with desk.database.write() as connection:
            await machine.beat(connection, desk.farm_id, _PART, desk.clock.now_ms(), "")
    except Exception as error:  # noqa: BLE001
        trouble = _trouble(error)
    return Tried(
        writable=trouble is None,
        readable=True,
        trouble=trouble,
        revision=revision,
        revision_needed=needed,
        waiting=waiting,
        oldest_due_ms=oldest_ms,
        untried_ms=untried_ms,
        turned_down_ms=turned_down_ms,
        pulses=pulses,
        silences=silent,
    )


def _trouble(error: Exception) -> str:
    """Say little to whoever asks, and the rest to the log: messages of a database name its address."""
    log.warning("state: the database did not do its work", cause=repr(error))
    return "locked, full or away" if isinstance(error, PassingError) else "it refuses"
