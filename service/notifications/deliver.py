"""Carrying tellings to people: claim, write the text down, send, write down what became of it.

At least once: a telling that was sent just before the service died is sent again under the same key, so that a
gateway that knows keys drops it. A telling past its use-by is not sent at all; it is missed, and shown as such.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rules.model import MINUTE_MS, Instant
from service.clock import Clock
from service.log import log
from service.notifications.carriers.message import Carrier, Message
from service.notifications.carriers.outcome import Accepted, Outcome, Unreachable
from service.notifications.render import Reader, plain, render
from service.notifications.retry import TryAgain, after_failure
from service.notifications.routing import Way
from service.storage import outbox, people
from service.storage.database import Connection, Database
from service.storage.rows import Record

AT_A_TIME: Final = 20
CLAIM_MS: Final = 2 * MINUTE_MS


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

    async def release(self) -> None:
        """After a start: take over what a worker that died had claimed."""
        async with self.database.write() as connection:
            await outbox.release_claims(connection, self.farm["farm_id"])

    async def all_due(self) -> int:
        """Try every telling that is due once; return how many were tried."""
        async with self.database.write() as connection:
            ready = await self._claim(connection)
        ended = await asyncio.gather(*(self._try(one) for one in ready), return_exceptions=True)
        for error in ended:
            if error is not None:
                raise error
        return len(ready)

    async def _claim(self, connection: Connection) -> list[Ready]:
        now_ms = self.clock.now_ms()
        # The claim is by the farm's clock, the carrier's time-out by the wall.
        until_ms = now_ms + round(CLAIM_MS * self.clock.factor)
        rows = await outbox.claim_due(
            connection, self.farm["farm_id"], now_ms=now_ms, until_ms=until_ms, limit=AT_A_TIME
        )
        return [ready for row in rows if (ready := await self._prepare(connection, row, now_ms)) is not None]

    async def _prepare(self, connection: Connection, row: Record, now_ms: Instant) -> Ready | None:
        if row["addressed"] and row["kind"] != "back":
            # Trouble is not finished while a telling of it waits: it was answered while this one was on its way.
            state = outbox.UNSURE if row["detail"] == outbox.ON_ITS_WAY else outbox.CANCELLED
            await self._end(connection, row, state, now_ms, "answered or over before it went out")
            return None
        if now_ms > row["use_by_ms"]:
            await self._end(connection, row, outbox.MISSED, now_ms, "too late to be useful; see the sheet")
            return None
        person = await people.person(connection, self.farm["farm_id"], row["person_id"])
        to = person["phone"] if row["way"] == Way.TEXT else person["email"]
        trouble = self._cannot_go(row["way"], to)
        if trouble:
            await self._end(connection, row, outbox.GAVE_UP, now_ms, trouble)
            return None
        reader = Reader(units=person["units"], language=person["language"])
        text = row["text"] or _written(row, reader, now_ms)
        first = now_ms if row["first_try_ms"] is None else row["first_try_ms"]
        begun = {"text": text, "first_try_ms": first, "detail": outbox.ON_ITS_WAY}
        await outbox.begin_attempt(connection, self.farm["farm_id"], row["delivery_id"], begun)
        message = Message(to=to, text=text, key=row["delivery_id"], at_ms=now_ms, subject=text.partition(".")[0])
        return Ready(row={**row, **begun}, message=message)

    def _cannot_go(self, way: str, to: str | None) -> str:
        """Why trying is of no use: said at once, so that the next person is told at once."""
        if Way(way) not in self.carriers:
            return f"no way to send a {way} is set up"
        return "" if to else f"no address for {way}"

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


def _written(row: Record, reader: Reader, now_ms: Instant) -> str:
    """The text; facts that cannot be put into words must not keep anybody asleep, nor hold up other tellings."""
    try:
        return render(row, reader, now_ms=now_ms)
    except Exception:  # noqa: BLE001 - as said above
        log.exception("text could not be written", notice=row["notice_key"])
        return plain(row, reader.language)


def _becomes(outcome: Outcome, row: Record, attempt: int, now_ms: Instant) -> dict[str, Any]:
    """What a telling is after a try."""
    if isinstance(outcome, Accepted):
        return {
            "state": outbox.SENT,
            "attempts": attempt,
            "ended_ms": now_ms,
            "detail": outcome.detail,
            "claimed_until_ms": 0,
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
        }
    return {
        "state": outbox.GAVE_UP,
        "attempts": attempt,
        "ended_ms": now_ms,
        "detail": after.reason,
        "claimed_until_ms": 0,
    }
