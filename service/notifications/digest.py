"""What is sent regularly: the round sheet and two lines of it in the morning, the week on Friday.

Each goes out once for a day of the farm's calendar. A service that was down catches up while it still helps
anybody. When the morning's mails are out, what came back by itself and nobody answered is closed.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass

from service.clock import Clock
from service.notifications.carriers.message import Carrier
from service.notifications.digest_due import MORNING_TEXT, Due, friday_due, morning_due
from service.notifications.digest_mail import DigestMail, Round, Writer
from service.notifications.digest_text import DigestText
from service.reports.friday import friday_week
from service.reports.friday_mail import friday_mail
from service.reports.growing import Profiles
from service.reports.morning_mail import morning_mail
from service.reports.night import Books
from service.reports.round_sheet import RoundSheet, round_sheet
from service.reports.span import last_ended_span
from service.reports.week import week_of
from service.reports.words import Words
from service.storage import people
from service.storage.database import Database
from service.storage.figures import figures_of
from service.storage.rows import Record
from service.watch.on_call import call_list
from service.watch.respond import close_with_the_sheet

_DONE = Round(tried=0, finished=True)


@dataclass(slots=True, kw_only=True)
class Digest:
    """Sends what one farm is sent regularly."""

    database: Database
    farm: Record
    clock: Clock
    carrier: Carrier | None
    """``None`` where no mail server is set up: then sheet and week are only on their pages."""
    catalogue: Profiles
    pages: str | None = None
    """Where the pages can be reached, for the foot of the mails."""

    async def all_due(self) -> int:
        """Send what is due now; return how many messages were tried.

        One kind that fails does not keep the others from going out.

        Raises:
            PassingError: the database cannot be used just now; what was not sent is sent next time.
        """
        farm = dict(self.farm)  # the row changes in place, and one look must not mix two of its states
        tried = 0
        failed: list[Exception] = []
        for send in (self._morning, self._morning_texts, self._friday):
            try:
                tried += await send(farm)
            except Exception as error:  # noqa: BLE001 - said above; the first is raised at the end
                failed.append(error)
        if failed:
            raise failed[0]
        return tried

    # --- the morning ----------------------------------------------------------------------------------------

    async def _morning(self, farm: Record) -> int:
        now_ms = self.clock.now_ms()
        due = morning_due(farm, now_ms)
        if not due.is_on(now_ms):
            return 0
        done = await self._mails(farm, due, await self._readers(farm), lambda: self._morning_writer(farm))
        if done.finished:
            await close_with_the_sheet(
                self.database, farm["farm_id"], before_ms=due.from_ms, now_ms=self.clock.now_ms()
            )
        return done.tried

    async def _morning_writer(self, farm: Record) -> Writer:
        sheet = await self._sheet(farm)
        return lambda person: morning_mail(sheet, self._words(farm, person), pages=self.pages)

    async def _sheet(self, farm: Record) -> RoundSheet:
        async with self.database.read() as connection:
            books = Books(connection=connection, farm=farm, profiles=self.catalogue)
            now_ms = self.clock.now_ms()
            on_call = await call_list(connection, farm, at_ms=now_ms, room_id=None)
            return await round_sheet(books, last_ended_span(farm, now_ms), on_call=on_call)

    async def _morning_texts(self, farm: Record) -> int:
        due = morning_due(farm, self.clock.now_ms(), kind=MORNING_TEXT)
        texts = DigestText(database=self.database, clock=self.clock)
        return await texts.hand_over(farm, due, lambda: self._sheet(farm))

    # --- Friday ---------------------------------------------------------------------------------------------

    async def _friday(self, farm: Record) -> int:
        now_ms = self.clock.now_ms()
        async with self.database.read() as connection:
            minute = round((await figures_of(connection, farm["farm_id"])).friday_minute)
        due = friday_due(farm, now_ms, minute=minute)
        if not due.is_on(now_ms) or farm["created_ms"] > due.from_ms:  # a new farm has no week to look back on
            return 0
        readers = await self._readers(farm)
        to = [person for person in readers if person["manager"]] or readers
        return (await self._mails(farm, due, to, lambda: self._friday_writer(farm, minute))).tried

    async def _friday_writer(self, farm: Record, minute: int) -> Writer:
        now_ms = self.clock.now_ms()
        week = week_of(farm, now_ms, minute=minute)
        async with self.database.read() as connection:
            told = await friday_week(connection, farm, week)
        return lambda person: friday_mail(told, self._words(farm, person), pages=self.pages)

    # --- both -----------------------------------------------------------------------------------------------

    async def _readers(self, farm: Record) -> list[Record]:
        async with self.database.read() as connection:
            everyone = await people.all_people(connection, farm["farm_id"])
        return [person for person in everyone if person["active"] and person["email"]]

    async def _mails(
        self, farm: Record, due: Due, to: Sequence[Record], write: Callable[[], Awaitable[Writer]]
    ) -> Round:
        if self.carrier is None:
            return _DONE
        sender = DigestMail(database=self.database, clock=self.clock, carrier=self.carrier)
        return await sender.send(farm, due, to, write)

    def _words(self, farm: Record, person: Record) -> Words:
        return Words(farm=farm, units=person["units"], now_ms=self.clock.now_ms())
