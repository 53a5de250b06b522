"""Killing the service in chosen moments, and comparing it with a twin that was left in peace.

Both services listen to the same broker with our shipped configuration; only the victim is killed. Five windows:

* before the commit: the database's writer lock is held, messages are delivered and not acknowledged;
* after the commit: a proxy withholds PUBACK, so the record is written and the broker does not know;
* recorded, not judged: the rooms' locks are held (PostgreSQL; on SQLite there is only the one writer);
* the phone has a text and kills us before it answers;
* the phone has answered 200, we have read it and cannot write it down any more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import text

from rules.model import MINUTE_MS
from service.clock import Clock
from service.ingest.loop import MOST_IN_A_BATCH
from service.storage.database import Database
from tests.support.deadly_phone import DeadlyPhone
from tests.support.held_locks import ROOMS, WRITER, held, somebody_waits
from tests.support.mqtt_proxy import Proxy
from tests.support.service_process import ServiceProcess
from tests.support.waiting import until

BEFORE_COMMIT = "before the commit"
BEFORE_ACKNOWLEDGING = "committed, not acknowledged"
BEFORE_JUDGING = "recorded, not judged"
BEFORE_ANSWER = "phone killed us before answering"
AFTER_ANSWER = "phone killed us after its 200"
A_FEW = 5
TEXT_WITHIN_S = 60
FAR_BEHIND_MS = 2 * MINUTE_MS


@dataclass
class KillRig:
    """One victim and what it takes to kill it at the right moment."""

    victim: ServiceProcess
    url: str
    proxy: Proxy
    phone: DeadlyPhone
    database: Database
    clock: Clock
    report: Counter[str] = field(default_factory=Counter)

    async def kill_in(self, window: str) -> None:
        """Kill the victim once in a window, start it again, and count it."""
        ways: dict[str, Callable[[], Coroutine[Any, Any, None]]] = {
            BEFORE_COMMIT: self._before_commit,
            BEFORE_ACKNOWLEDGING: self._before_acknowledging,
            BEFORE_JUDGING: self._before_judging,
            BEFORE_ANSWER: self._before_answer,
            AFTER_ANSWER: self._after_answer,
        }
        await until(self._not_far_behind, within_s=60, what="the victim's catching up", every_s=0.1)
        await ways[window]()
        self.report[window] += 1
        await self.victim.start()

    async def _not_far_behind(self) -> bool:
        """What is decided more than 5 min late and over by then wakes nobody, so the twin would tell more."""
        judged = await self._scalar("SELECT min(judged_ms) FROM judgements")
        return judged > self.clock.now_ms() - FAR_BEHIND_MS

    async def _before_commit(self) -> None:
        async with held(self.url, WRITER):
            acknowledged = self.proxy.acknowledged
            await until(lambda: self.proxy.unacknowledged >= A_FEW, within_s=20, what="unacknowledged messages")
            assert self.proxy.acknowledged - acknowledged <= MOST_IN_A_BATCH, "acknowledged and not written"
            before = await self._stored()
            self.victim.kill()
            assert await self._stored() == before, "something was written while the writer was held"

    async def _before_acknowledging(self) -> None:
        before = await self._stored()
        self.proxy.withholding = True

        async def stored_and_acknowledged() -> bool:
            # Right after a start the first acknowledgements may be for repeats, which store nothing new.
            return self.proxy.withheld >= A_FEW and await self._stored() > before

        await until(stored_and_acknowledged, within_s=20, what="withheld acknowledgements", every_s=0.05)
        self.victim.kill()
        self.proxy.withholding = False

    async def _before_judging(self) -> None:
        async with held(self.url, ROOMS) as connection:
            assert connection is not None
            judged = await self._scalar("SELECT min(judged_ms) FROM judgements")
            stored = await self._stored()
            await until(
                lambda: somebody_waits(connection), within_s=20, what="a judgement that waits", every_s=0.05
            )

            async def recorded_meanwhile() -> bool:
                return await self._stored() > stored

            await until(
                recorded_meanwhile, within_s=20, what="readings recorded while judging waits", every_s=0.05
            )
            self.victim.kill()
            assert await self._scalar("SELECT min(judged_ms) FROM judgements") == judged

    async def _before_answer(self) -> None:
        killed = False

        async def act() -> None:
            nonlocal killed
            self.victim.kill()
            killed = True

        self.phone.before_answer = act
        await until(lambda: killed, within_s=TEXT_WITHIN_S, what="a text to kill us over")

    async def _after_answer(self) -> None:
        """The writer is held from before the 200, so that what it means cannot be written down."""
        killed = False
        holding = held(self.url, WRITER)

        async def take() -> None:
            await holding.__aenter__()

        async def act() -> None:
            nonlocal killed
            self.victim.kill()
            await holding.__aexit__(None, None, None)
            killed = True

        self.phone.around_answer = (take, act)
        await until(lambda: killed, within_s=TEXT_WITHIN_S, what="a text to kill us over")

    async def _stored(self) -> int:
        return await self._scalar("SELECT count(*) FROM readings")

    async def _scalar(self, statement: str) -> int:
        async with self.database.read() as connection:
            return int(await connection.scalar(text(statement)) or 0)
