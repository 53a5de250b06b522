"""The morning mail: the round sheet of the night that is over, to everyone with an address, once a day.

Due from the morning round until noon on the farm's clock. A service that was down catches up within that time; a
sheet that comes in the afternoon helps nobody, and the next one comes tomorrow. One row for each person and
calendar day says what became of it, so a second tick, a restart or a clock set back sends nothing twice. The row
is written before the mail goes out: only a crash in between can repeat one, and then under the same key.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from rules.model import HOUR_MS, MINUTE_MS, Instant
from service.clock import Clock
from service.localtime import at_local, local_date
from service.log import log
from service.notifications.carriers.message import Carrier, Message
from service.notifications.carriers.outcome import Accepted, Outcome, Unreachable
from service.notifications.retry import TryAgain, after_failure
from service.reports.growing import Profiles
from service.reports.morning_mail import MorningMail, morning_mail
from service.reports.night import Books
from service.reports.round_sheet import RoundSheet, round_sheet
from service.reports.span import last_ended_span
from service.reports.words import Words
from service.storage import machine, people
from service.storage.database import Database
from service.storage.rows import Record
from service.watch.respond import close_with_the_sheet

MORNING: Final = "morning"
NOON: Final = 12 * 60
SHORTEST_CATCH_UP_MS: Final = 6 * HOUR_MS
"""A farm whose morning round is at noon or later gets this long instead."""
CLAIM_MS: Final = 2 * MINUTE_MS
WAITING, SENT, GAVE_UP = "waiting", "sent", "gave up"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Morning:
    """One calendar day's mail."""

    date: str
    from_ms: Instant
    until_ms: Instant


@dataclass(slots=True, kw_only=True)
class Digest:
    """Sends the morning mails of one farm."""

    database: Database
    farm: Record
    clock: Clock
    carrier: Carrier | None
    """``None`` where no mail server is set up: then the sheet is only on the page."""
    catalogue: Profiles
    pages: str | None = None
    """Where the pages can be reached, for the foot of the mail."""

    async def all_due(self) -> int:
        """Send what is due now; return how many mails were tried.

        Raises:
            PassingError: the database cannot be used just now; what was not sent is sent next time.
        """
        morning = self._morning(self.clock.now_ms())
        if not morning.from_ms <= self.clock.now_ms() < morning.until_ms:
            return 0
        due, finished = await self._receivers(morning)
        if due:
            sheet = await self._sheet()
            ended = [await self._send(person, row, sheet, morning) for person, row in due]
            finished = finished and all(ended)
        if finished:
            await close_with_the_sheet(
                self.database, self.farm["farm_id"], before_ms=morning.from_ms, now_ms=self.clock.now_ms()
            )
        return len(due)

    def _morning(self, now_ms: Instant) -> _Morning:
        zone = self.farm["zone"]
        today = local_date(now_ms, zone)
        from_ms = at_local(today, self.farm["morning_round_minute"], zone)
        noon = at_local(today, NOON, zone)
        until_ms = noon if noon > from_ms else from_ms + SHORTEST_CATCH_UP_MS
        return _Morning(date=today.isoformat(), from_ms=from_ms, until_ms=until_ms)

    async def _receivers(self, morning: _Morning) -> tuple[Sequence[tuple[Record, Record | None]], bool]:
        """Who is due now, with what was tried before; and whether everybody else is done with."""
        if self.carrier is None:
            return (), True
        farm_id, now_ms = self.farm["farm_id"], self.clock.now_ms()
        due: list[tuple[Record, Record | None]] = []
        finished = True
        async with self.database.read() as connection:
            for person in await people.all_people(connection, farm_id):
                if not (person["active"] and person["email"]):
                    continue
                row = await machine.digest_row(connection, farm_id, MORNING, person["person_id"], morning.date)
                if row is None or (row["state"] == WAITING and row["next_ms"] <= now_ms):
                    due.append((person, row))
                elif row["state"] == WAITING:
                    finished = False
        return due, finished

    async def _sheet(self) -> RoundSheet:
        async with self.database.read() as connection:
            books = Books(connection=connection, farm=self.farm, profiles=self.catalogue)
            return await round_sheet(books, last_ended_span(self.farm, self.clock.now_ms()))

    async def _send(self, person: Record, row: Record | None, sheet: RoundSheet, morning: _Morning) -> bool:
        """Try one mail; true when nothing more will be tried for this person today."""
        now_ms = self.clock.now_ms()
        attempt = 1 if row is None else row["attempts"] + 1
        first_ms = now_ms if row is None else row["at_ms"]
        claimed = {
            "kind": MORNING,
            "person_id": person["person_id"],
            "local_date": morning.date,
            "at_ms": first_ms,
            "state": WAITING,
            "attempts": attempt,
            "next_ms": now_ms + round(CLAIM_MS * self.clock.factor),
            "detail": "",
        }
        await self._save(claimed)
        outcome = await self._carry(self._message(person, sheet, morning))
        after = _becomes(outcome, claimed, now_ms=self.clock.now_ms(), use_by_ms=morning.until_ms)
        log.info("morning mail tried", to=person["person_id"], state=after["state"])
        await self._save({**claimed, **after})
        return bool(after["state"] != WAITING)

    def _message(self, person: Record, sheet: RoundSheet, morning: _Morning) -> Message:
        words = Words(farm=self.farm, units=person["units"], now_ms=self.clock.now_ms())
        mail: MorningMail = morning_mail(sheet, words, pages=self.pages)
        return Message(
            to=person["email"],
            text=mail.text,
            key=f"{self.farm['slug']}/{MORNING}/{person['person_id']}/{morning.date}",
            at_ms=self.clock.now_ms(),
            subject=mail.subject,
            html=mail.html,
        )

    async def _carry(self, message: Message) -> Outcome:
        if self.carrier is None:
            return Unreachable(detail="no mail server is set up")
        try:
            return await self.carrier.carry(message)
        except Exception as error:  # noqa: BLE001 - a carrier's bug must not stop the others
            log.exception("carrier failed", way="mail")
            return Unreachable(detail=f"our own fault: {type(error).__name__}")

    async def _save(self, values: Record) -> None:
        async with self.database.write() as connection:
            await machine.save_digest(connection, self.farm["farm_id"], values)


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
