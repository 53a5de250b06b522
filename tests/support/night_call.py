"""A night on the invented farm with everybody's phones: a real text gateway, phones that answer as they are told.

House 7 is dry from minute 5 until somebody mends it. Every minute is what the service does in it: the room is
judged, those who went are watched over, people are told; then whoever read a text answers, if their phone does.
"""

from __future__ import annotations

import json
from collections.abc import AsyncGenerator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from itertools import count
from typing import Any, Final

import httpx
from sqlalchemy import update

from service.notifications.address import Address
from service.notifications.carriers.message import Carrier
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.notifications.deliver import Deliver
from service.notifications.routing import Way
from service.notifications.writing import Writing
from service.reports.night import Books, read_ledger, room_night
from service.reports.span import newest_span
from service.reports.words import Words
from service.storage import ledger, outbox
from service.storage.database import Database
from service.storage.tables import metadata
from service.watch.catalogue import Catalogue
from service.watch.facts_now import FactsNow
from service.watch.going_watch import GoingWatch
from service.watch.judge import Judge
from service.watch.replies import Reply, Result, take_reply
from service.watch.texts_in import take_receipts
from service.wire.text_hook import Places
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.telling import FIELDS, add_person, set_call_list
from tests.support.text_gateway import Answer, Asked, PretendGateway, pretend_gateway
from tests.support.watched import DRY, GOOD, ROOM, hear, judge_at, minute, watched_farm

NUMBERS: Final = {
    "maria": "+12025550141",
    "ben": "+12025550142",
    "cal": "+12025550143",
    "dee": "+12025550144",
}
NAMES: Final = {number: person for person, number in NUMBERS.items()}
CALL_LIST: Final = (("maria", 0), ("ben", 10), ("cal", 30), ("dee", 40))
"""The first, the second, the manager, the owner."""
TOLD_BY: Final = 16
"""By this minute the room is told of: dry since 5, and the wait is over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Says:
    """What a phone sends back, and so many minutes after the text."""

    text: str
    after: float = 1
    phone: str | None = None
    """Another phone than the one that was told."""
    same_as: str | None = None
    """The gateway's id of it: the same twice is the same text."""


Phone = Callable[[int, str], Sequence[Says]]
"""How a phone answers the n-th text (from 0) that came to it; :func:`off` never does."""


def off(_n: int, _text: str) -> Sequence[Says]:
    """Switched off, flat, in a bag: nothing comes back."""
    return ()


def first(*says: Says) -> Phone:
    """Answers the first text, and no other."""
    return lambda n, _text: says if n == 0 else ()


@dataclass(slots=True, kw_only=True)
class NightCall:
    """One such night."""

    database: Database
    farm: dict[str, Any]
    clock: HandClock
    gateway: PretendGateway
    address: Address
    deliver: Deliver
    going: GoingWatch
    phones: dict[str, Phone]
    told: list[tuple[int, str, str]] = field(default_factory=list)
    """(minute, person, text) of all that the gateway took, in order."""
    came_to: list[tuple[int, str, str]] = field(default_factory=list)
    """(minute, number, what came of it) of all that people answered."""
    _due: list[tuple[float, Says, str]] = field(default_factory=list)
    _ids: Any = field(default_factory=count)

    async def through(
        self, last: int, *, mended_at: int | None = None, falls: float = 0, falls_until: int = 999
    ) -> None:
        """Live through minutes 0 to ``last``; the air is wet again from minute ``mended_at`` on.

        Until then, or until ``falls_until``, it falls by so many points a minute.
        """
        end = last + 1 if mended_at is None else mended_at
        air = [DRY - falls * (min(at, falls_until) - 5) if 5 <= at < end else GOOD for at in range(last + 1)]
        await hear(self.database, air)
        for at in range(last + 1):
            # In between nothing changes in the room that a judgement could find.
            if at < TOLD_BY or at >= end or at % 10 == 0:
                await judge_at(self.database, self.farm, at)
            await self.tick(at)

    async def tick(self, at: int) -> None:
        """What the service does in a minute, and then what people do."""
        self.clock.set(max(minute(at), self.clock.now_ms()))
        await self._answers(at)
        await self.going.all_due()
        await self.address.all_notices()
        before = len(self.gateway.asked)
        taken = self.gateway.answer.status < 300
        await self.deliver.all_due()
        for one in self.gateway.asked[before:] if taken else ():
            self._arrived(at, json.loads(one.body))

    def kinds(self) -> list[tuple[int, str]]:
        """(minute, person) of every text that is no answer to an answer."""
        return [(at, person) for at, person, text in self.told if not is_confirmation(text)]

    def _arrived(self, at: int, sent: dict[str, str]) -> None:
        person = NAMES[sent["to"]]
        n = len([1 for _, who, text in self.told if who == person and not is_confirmation(text)])
        self.told.append((at, person, sent["text"]))
        if not is_confirmation(sent["text"]):
            says = self.phones.get(person, off)(n, sent["text"])
            self._due += [(at + one.after, one, one.phone or sent["to"]) for one in says]

    async def _answers(self, at: int) -> None:
        due = sorted((d for d in self._due if d[0] <= at), key=lambda d: d[0])
        self._due = [d for d in self._due if d[0] > at]
        for _, says, number in due:
            result = await self.reply(says, number)
            self.came_to.append((at, number, result.result))

    async def reply(self, says: Says, number: str) -> Result:
        """A text of somebody's comes in."""
        desk = farmyard.desk(self.database, self.farm, self.clock)
        return await take_reply(
            desk,
            Reply(
                way="text",
                phone=number,
                person_id=None,
                text=says.text,
                received_ms=self.clock.now_ms(),
                inbound_id=says.same_as or f"in-{next(self._ids)}",
            ),
        )

    async def receipt(self, person: str, what: str) -> None:
        """The gateway says what became of the last text to somebody."""
        sent = [json.loads(one.body) for one in self.gateway.asked]
        ref = [one["key"] for one in sent if one["to"] == NUMBERS[person]][-1]
        body = json.dumps({"id": ref, "status": what}).encode()
        desk = farmyard.desk(self.database, self.farm, self.clock)
        await take_receipts(desk, body, Places(receipts={"arrived": "delivered", "lost": "failed"}))

    async def happenings(self) -> list[dict[str, Any]]:
        async with self.database.read() as connection:
            table = metadata.tables["happenings"]
            rows = (await connection.execute(table.select().order_by(table.c.began_ms))).mappings()
            return [dict(row) for row in rows]

    async def page(self) -> list[str]:
        """What House 7's page says of who was told and what they said, line by line."""
        async with self.database.read() as connection:
            books = Books(connection=connection, farm=self.farm, profiles=Catalogue(1))
            span = newest_span(self.farm, self.clock.now_ms())
            night = await room_night(books, ROOM, span, await read_ledger(books, span))
        words = Words(farm=self.farm, units="metric", now_ms=self.clock.now_ms())
        return words.trail(night)


def is_confirmation(text: str) -> bool:
    """Whether a text only says back what somebody answered."""
    marks = ("noted", "Which house", "Text one of", "is back in band since", "was back", "cannot go")
    return any(mark in text for mark in marks)


async def _call_list(database: Database, proven: Sequence[str]) -> None:
    for person in ("cal", "dee"):
        await add_person(database, person, NUMBERS[person])
    await set_call_list(database, *CALL_LIST)
    people = metadata.tables["people"]
    async with database.write() as connection:
        await connection.execute(update(people).values(email=None))
        await connection.execute(
            update(people).where(people.c.person_id.in_(list(proven))).values(round_trip_ms=minute(-100))
        )


@asynccontextmanager
async def night_call(
    database: Database,
    phones: dict[str, Phone],
    *,
    proven: Sequence[str] = tuple(NUMBERS),
    carriers: dict[Way, Carrier] | None = None,
) -> AsyncGenerator[NightCall]:
    """The farm, the gateway and the call list; ``proven`` people have answered a test text before."""
    farm = await watched_farm(database)
    await _call_list(database, proven)
    clock = HandClock(minute(0))
    now = FactsNow(farm=farm, judge=Judge(database, farm, Catalogue(1)))
    with pretend_gateway() as gateway:
        async with httpx.AsyncClient() as client:
            gateway.says = _by_key
            settings = TextGateway(url=f"{gateway.url}/send", fields=FIELDS, timeout_s=2, id_pointer="/id")
            text = TextCarrier(settings, client)
            given: dict[Way, Carrier] = {Way.TEXT: text, **(carriers or {})}
            yield NightCall(
                database=database,
                farm=farm,
                clock=clock,
                gateway=gateway,
                address=Address(
                    database=database, farm=farm, clock=clock, ways=frozenset(given), answers_by_text=True
                ),
                deliver=Deliver(
                    database=database,
                    farm=farm,
                    clock=clock,
                    carriers=given,
                    writing=Writing(farm=farm, answers_by_text=True, now_in=now.of),
                ),
                going=GoingWatch(database=database, farm=farm, clock=clock, now=now),
                phones=phones,
            )


def _by_key(asked: Asked) -> bytes:
    """The gateway's name for a text is our key for it."""
    return json.dumps({"id": json.loads(asked.body)["key"]}).encode()


async def give_mail(database: Database, *people: str) -> None:
    """These people can be told by mail as well."""
    table = metadata.tables["people"]
    async with database.write() as connection:
        for person in people:
            mail = update(table).where(table.c.person_id == person).values(email=f"{person}@example.org")
            await connection.execute(mail)


def refusing(gateway: PretendGateway) -> None:
    """From now on the gateway takes nothing."""
    gateway.answer = Answer(status=503)


async def is_open(database: Database, happening_id: str) -> bool:
    async with database.read() as connection:
        return (await ledger.happening(connection, 1, happening_id))["ended_ms"] is None


async def tellings(database: Database, happening_id: str) -> list[Any]:
    async with database.read() as connection:
        return list(await outbox.tellings_of(connection, 1, happening_id))
