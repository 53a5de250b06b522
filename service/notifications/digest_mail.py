"""One round of mails: each person once, tried again while a server is busy, under one key.

A row is taken before a mail goes out; another process that finds it taken leaves it alone. Only a crash between
the server's answer and writing it down can repeat a mail, and then under the same key.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from rules.model import MINUTE_MS, Instant
from service.clock import Clock
from service.log import log
from service.notifications.carriers.message import Carrier, Message
from service.notifications.carriers.outcome import Accepted, Outcome, Unreachable
from service.notifications.digest_due import Due
from service.notifications.retry import TryAgain, after_failure
from service.reports.mail import Mail
from service.storage import digests
from service.storage.database import Database
from service.storage.digests import GAVE_UP, ROUND, SENT, WAITING
from service.storage.rows import Record

CLAIM_MS: Final = 2 * MINUTE_MS

Writer: TypeAlias = Callable[[Record], Mail]
"""Writes one person's mail."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """What came of one look at a round of mails."""

    tried: int
    finished: bool
    """Nothing more will be sent to anybody."""


@dataclass(slots=True, kw_only=True)
class DigestMail:
    """Sends rounds of mails."""

    database: Database
    clock: Clock
    carrier: Carrier

    async def send(
        self, farm: Record, due: Due, receivers: Iterable[Record], write: Callable[[], Awaitable[Writer]]
    ) -> Round:
        """Send what is due of a round.

        Args:
            farm: the farm's row as it was when this look began.
            due: the round.
            receivers: who is to get it.
            write: reads what the mails are about; only asked when there is something to send.
        """
        rows = await self._begin(farm, due)
        waiting = [p for p in receivers if is_in(p, rows) and _waits(rows.get(p["person_id"]))]
        ready = [p for p in waiting if _is_ready(rows.get(p["person_id"]), self.clock.now_ms())]
        if not ready:
            return Round(tried=0, finished=not waiting)
        writer = await write()
        ended = [await self._send(farm, due, person, rows.get(person["person_id"]), writer) for person in ready]
        return Round(tried=len(ready), finished=len(ready) == len(waiting) and all(ended))

    async def _begin(self, farm: Record, due: Due) -> dict[str, Record]:
        """What was tried so far. The beginning of a round is written down at its first look."""
        async with self.database.read() as connection:
            rows = await digests.digest_rows(connection, farm["farm_id"], due.kind, due.date)
        if ROUND not in rows:
            async with self.database.write() as connection:
                await digests.begin_round(connection, farm["farm_id"], due.kind, due.date, self.clock.now_ms())
        return rows

    async def _send(self, farm: Record, due: Due, person: Record, row: Record | None, writer: Writer) -> bool:
        """Try one mail; true when nothing more will be tried for this person."""
        now_ms = self.clock.now_ms()
        claimed = {
            "kind": due.kind,
            "person_id": person["person_id"],
            "local_date": due.date,
            "at_ms": now_ms if row is None else row["at_ms"],
            "state": WAITING,
            "attempts": 1 if row is None else row["attempts"] + 1,
            "next_ms": now_ms + round(CLAIM_MS * self.clock.factor),
            "detail": "",
        }
        async with self.database.write() as connection:
            if not await digests.claim_digest(connection, farm["farm_id"], claimed):
                return False  # somebody else has it, and will say how it ended
        outcome = await self._carry(self._message(farm, due, person, writer(person)))
        after = _becomes(outcome, claimed, now_ms=self.clock.now_ms(), use_by_ms=due.until_ms)
        log.info("digest tried", kind=due.kind, to=person["person_id"], state=after["state"])
        async with self.database.write() as connection:
            await digests.save_digest(connection, farm["farm_id"], {**claimed, **after})
        return bool(after["state"] != WAITING)

    def _message(self, farm: Record, due: Due, person: Record, mail: Mail) -> Message:
        return Message(
            to=person["email"],
            text=mail.text,
            key=f"{farm['slug']}/{due.kind}/{person['person_id']}/{due.date}",
            at_ms=self.clock.now_ms(),
            subject=mail.subject,
            html=mail.html,
        )

    async def _carry(self, message: Message) -> Outcome:
        try:
            return await self.carrier.carry(message)
        except Exception as error:  # noqa: BLE001 - a carrier's bug must not stop the others
            log.exception("carrier failed", way="mail")
            return Unreachable(detail=f"our own fault: {type(error).__name__}")


def is_in(person: Record, rows: dict[str, Record]) -> bool:
    """Whether a round is for this person: whoever was written down after it had begun gets the next one."""
    begun = rows.get(ROUND)
    return begun is None or person["person_id"] in rows or person["recorded_ms"] <= begun["at_ms"]


def _waits(row: Record | None) -> bool:
    return row is None or row["state"] == WAITING


def _is_ready(row: Record | None, now_ms: Instant) -> bool:
    return row is None or row["next_ms"] <= now_ms


def _becomes(outcome: Outcome, claimed: Record, *, now_ms: Instant, use_by_ms: Instant) -> dict[str, Any]:
    """What a mail is after a try."""
    if isinstance(outcome, Accepted):
        return {"state": SENT, "at_ms": now_ms, "detail": outcome.detail}
    after = after_failure(
        outcome,
        attempt=claimed["attempts"],
        first_try_ms=claimed["at_ms"],
        now_ms=now_ms,
        use_by_ms=use_by_ms,
    )
    if isinstance(after, TryAgain):
        return {"state": WAITING, "next_ms": after.at_ms, "detail": outcome.detail}
    return {"state": GAVE_UP, "detail": after.reason}
