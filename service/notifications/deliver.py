"""Carrying tellings to people: claim, write the text down, send, write down what became of it.

At least once: a telling that was sent just before the service died is sent again under the same key, so that a
gateway that knows keys drops it. A telling past its use-by is not sent at all; it is missed, and shown as such.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from rules.model import MINUTE_MS, Instant
from service.clock import Clock
from service.log import log
from service.notifications.carriers.message import Carrier, Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable
from service.notifications.ceiling import within_ceiling
from service.notifications.retry import TryAgain, after_failure
from service.notifications.routing import Way
from service.notifications.writing import Writing
from service.storage import outbox
from service.storage.database import Connection, Database, is_of_the_database
from service.storage.figures import figures_of
from service.storage.rows import Record

AT_A_TIME: Final = 20
CLAIM_MS: Final = 2 * MINUTE_MS
PATIENCE_S: Final = 3.0
"""So long a round waits for answers, by the wall."""
STALE_MS: Final = 15 * MINUTE_MS
"""A text that was turned down for so long is written anew."""
SLOW_AT_MOST: Final = 5
"""While so many of one way keep us waiting, no more of it are tried: the other ways need not wait for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """A telling that is written and addressed."""

    row: Record
    message: Message


@dataclass(slots=True, kw_only=True)
class Deliver:
    """Delivers the tellings of one farm."""

    database: Database
    farm: Record
    clock: Clock
    carriers: Mapping[Way, Carrier]
    writing: Writing
    _slow: set[asyncio.Task[None]] = field(default_factory=set)

    async def release(self) -> None:
        """After a start: take over what a worker that died had claimed."""
        async with self.database.write() as connection:
            await outbox.release_claims(connection, self.farm["farm_id"])

    async def all_due(self) -> int:
        """Try every telling that is due once; return how many tries were begun.

        A receiver that keeps us waiting is left to its own time-out: the others must not wait for it too.
        """
        async with self.database.write() as connection:
            ready = await self._claim(connection)
        begun = {asyncio.create_task(self._try(one), name=one.row["way"]) for one in ready}
        if not begun:
            return 0
        try:
            done, slow = await asyncio.wait(begun, timeout=PATIENCE_S)
        except asyncio.CancelledError:
            await _let_go(begun)
            raise
        for task in slow:
            self._slow.add(task)
            task.add_done_callback(self._ended)
        for task in done:
            task.result()
        return len(begun)

    def _ended(self, task: asyncio.Task[None]) -> None:
        self._slow.discard(task)
        if not task.cancelled() and task.exception() is not None:
            log.error("a slow try could not be written down", cause=repr(task.exception()))

    async def stop(self) -> None:
        """Let go of slow receivers; what they were sent is sent again after the next start, under the same key."""
        await _let_go(self._slow)

    async def _claim(self, connection: Connection) -> list[Ready]:
        now_ms = self.clock.now_ms()
        # The claim is by the farm's clock, the carrier's time-out by the wall.
        until_ms = now_ms + round(CLAIM_MS * self.clock.factor)
        slow = Counter(task.get_name() for task in self._slow)
        rows = await outbox.claim_due(
            connection,
            self.farm["farm_id"],
            now_ms=now_ms,
            until_ms=until_ms,
            limit=AT_A_TIME,
            but_ways=[way for way, count in slow.items() if count >= SLOW_AT_MOST],
        )
        found = [await self._prepare_or_give_up(connection, row, now_ms) for row in rows]
        return [ready for ready in found if ready is not None]

    async def _prepare_or_give_up(self, connection: Connection, row: Record, now_ms: Instant) -> Ready | None:
        """A telling that cannot be prepared must not hold up all the others, now and for ever."""
        try:
            return await self._prepare(connection, row, now_ms)
        except Exception as error:
            if is_of_the_database(error):
                raise  # the transaction is lost with it
            log.exception("telling could not be prepared", notice=row["notice_key"], to=row["person_id"])
            await self._end(connection, row, outbox.GAVE_UP, now_ms, f"our own fault: {type(error).__name__}")
            return None

    async def _prepare(self, connection: Connection, row: Record, now_ms: Instant) -> Ready | None:
        ended = await self._why_not(connection, row, now_ms)
        message = None if ended else await self.writing.message(connection, row, now_ms)
        if message is None:
            state, detail = ended or (outbox.GAVE_UP, f"no address for {row['way']}")
            await self._end(connection, row, state, now_ms, detail)
            return None
        first = now_ms if row["first_try_ms"] is None else row["first_try_ms"]
        begun = {"text": row["text"] or message.text, "first_try_ms": first, "detail": outbox.ON_ITS_WAY}
        await outbox.begin_attempt(connection, self.farm["farm_id"], row["delivery_id"], begun)
        return Ready(row={**row, **begun}, message=message)

    async def _why_not(self, connection: Connection, row: Record, now_ms: Instant) -> tuple[str, str] | None:
        """Why a telling does not go out (any more): the state it ends in, and the words; else ``None``."""
        if row["addressed"] and _is_called_off_when_finished(row):
            # Trouble is not finished while a telling of it waits: it was answered while this one was on its way.
            state = outbox.UNSURE if row["detail"] == outbox.ON_ITS_WAY else outbox.CANCELLED
            return state, "answered or over before it went out"
        if now_ms > row["use_by_ms"]:
            return outbox.MISSED, "too late to be useful; see the sheet"
        if Way(row["way"]) not in self.carriers:
            # Said at once, so that the next person is told at once.
            return outbox.GAVE_UP, f"no way to send a {row['way']} is set up"
        figures = await figures_of(connection, self.farm["farm_id"])
        if not await within_ceiling(connection, self.farm["farm_id"], row=row, figures=figures, now_ms=now_ms):
            return outbox.CANCELLED, outbox.IN_THE_SUMMARY
        return None

    async def _end(self, connection: Connection, row: Record, state: str, now_ms: Instant, detail: str) -> None:
        await outbox.end_attempt(
            connection,
            self.farm["farm_id"],
            row["delivery_id"],
            attempt={"attempt": row["attempts"] + 1, "at_ms": now_ms, "outcome": state, "detail": detail},
            telling={"state": state, "ended_ms": now_ms, "detail": detail},
        )

    async def _try(self, ready: Ready) -> None:
        outcome = await self._carry(ready)
        now_ms = self.clock.now_ms()
        attempt = ready.row["attempts"] + 1
        telling = _becomes(outcome, ready.row, attempt, now_ms)
        log.info(
            "telling tried", to=ready.row["person_id"], notice=ready.row["notice_key"], state=telling["state"]
        )
        async with self.database.write() as connection:
            await outbox.end_attempt(
                connection,
                self.farm["farm_id"],
                ready.row["delivery_id"],
                attempt={
                    "attempt": attempt,
                    "at_ms": now_ms,
                    "outcome": type(outcome).__name__.lower(),
                    "detail": outcome.detail,
                },
                telling=telling,
            )

    async def _carry(self, ready: Ready) -> Outcome:
        try:
            return await self.carriers[Way(ready.row["way"])].carry(ready.message)
        except Exception as error:  # noqa: BLE001 - a carrier's bug must not stop the others
            log.exception("carrier failed", way=ready.row["way"])
            return Unreachable(detail=f"our own fault: {type(error).__name__}")


async def _let_go(tasks: Iterable[asyncio.Task[None]]) -> None:
    given_up = list(tasks)
    for task in given_up:
        task.cancel()
    await asyncio.gather(*given_up, return_exceptions=True)


def _is_called_off_when_finished(row: Record) -> bool:
    """Whether a telling has no sense any more once its notice is done with. An end, or a message to one, has."""
    return row["telling"] != outbox.DIRECT and row["kind"] not in outbox.TO_THOSE_WOKEN


def _is_to_be_written_anew(outcome: Outcome, row: Record, now_ms: Instant) -> bool:
    """Whether the next try says what is so by then. What may have been taken over already must stay the same."""
    return isinstance(outcome, Refused) and now_ms - row["first_try_ms"] > STALE_MS


def _becomes(outcome: Outcome, row: Record, attempt: int, now_ms: Instant) -> dict[str, Any]:
    """What a telling is after a try."""
    if isinstance(outcome, Accepted):
        return {
            "state": outbox.SENT,
            "attempts": attempt,
            "ended_ms": now_ms,
            "detail": outcome.detail,
            "claimed_until_ms": 0,
            "gateway_ref": outcome.ref,
        }
    after = after_failure(
        outcome,
        attempt=attempt,
        first_try_ms=row["first_try_ms"],
        now_ms=now_ms,
        use_by_ms=row["use_by_ms"],
    )
    if isinstance(after, TryAgain):
        return {
            "state": outbox.WAITING,
            "attempts": attempt,
            "next_ms": after.at_ms,
            "detail": outcome.detail,
            "claimed_until_ms": 0,
            **({"text": ""} if _is_to_be_written_anew(outcome, row, now_ms) else {}),
        }
    return {
        "state": outbox.GAVE_UP,
        "attempts": attempt,
        "ended_ms": now_ms,
        "detail": after.reason,
        "claimed_until_ms": 0,
    }
