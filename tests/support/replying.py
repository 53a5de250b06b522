"""People with phones answering on the invented farm, and what they are told back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import count
from typing import Any

from sqlalchemy import update

from rules.model import Instant
from service.notifications.render import render
from service.storage import ledger, outbox, people
from service.storage.database import Database
from service.storage.tables import metadata
from service.watch.desk import Desk
from service.watch.replies import Reply, Result, take_reply
from service.wording.reader import Reader
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.watched import DRY_HALF_HOUR, hear, judge_at, minute
from tests.support.written import written

MARIA, BEN, STRANGER = "+12025550141", "+12025550142", "+12025550199"


@dataclass(slots=True, kw_only=True)
class Phones:
    """Everyone's phone at once, on a clock that is moved by hand."""

    desk: Desk
    clock: HandClock
    numbers: Any

    @property
    def database(self) -> Database:
        return self.desk.database

    async def send(self, text: str, *, at: float, phone: str | None = MARIA, **changes: Any) -> Result:
        """A text comes in at this minute."""
        self.clock.set(max(self.clock.now_ms(), minute(at)))
        given = {"way": "text", "phone": phone, "person_id": None, "inbound_id": f"in-{next(self.numbers)}"}
        return await take_reply(self.desk, Reply(**{**given, "text": text, "received_ms": minute(at), **changes}))

    async def said(self, text: str, *, at: float, phone: str = MARIA, **changes: Any) -> str:
        """A text comes in; what is said back to it."""
        result = await self.send(text, at=at, phone=phone, **changes)
        assert result.delivery_id is not None, result
        return await self.words(result.delivery_id)

    async def words(self, delivery_id: str) -> str:
        """The words of a telling that waits, as its person reads them."""
        [row] = await written(self.database, "deliveries", delivery_id=delivery_id)
        async with self.database.read() as connection:
            person = await people.person(connection, 1, row["person_id"])
            due = await outbox.notices_between(connection, 1, from_ms=0, to_ms=minute(10**6))
        notice = next(one for one in due if one["notice_key"] == row["notice_key"])
        reader = Reader(units=person["units"], language=person["language"], name=person["name"])
        return render(notice, reader, now_ms=self.clock.now_ms())


def phones(database: Database, farm: dict[str, Any]) -> Phones:
    clock = HandClock(minute(0))
    return Phones(desk=farmyard.desk(database, farm, clock), clock=clock, numbers=count())


async def dry_house(database: Database, farm: dict[str, Any]) -> Phones:
    """House 7 is dry since minute 5, and told since minute 13; it is minute 15."""
    await hear(database, DRY_HALF_HOUR[:16])
    await judge_at(database, farm, 15)
    return phones(database, farm)


async def answers(database: Database) -> list[tuple[str, str, str]]:
    """Who answered what to which happening, without its moment."""
    rows = await written(database, "answers")
    return [(row["person_id"], row["word"], row["happening_id"].partition("@")[0]) for row in rows]


async def change_person(database: Database, person_id: str, **values: Any) -> None:
    table = metadata.tables["people"]
    async with database.write() as connection:
        await connection.execute(update(table).where(table.c.person_id == person_id).values(**values))


async def begin(
    database: Database,
    happening_id: str,
    room_id: str | None,
    *,
    at: float,
    ended: float | None = None,
    closed: float | None = None,
) -> str:
    """Something that is open since a minute, without readings behind it."""
    row = {"happening_id": happening_id, "room_id": room_id, "began_ms": minute(at), "woke": 1}
    ends = {"ended_ms": _at(ended), "closed_ms": _at(closed)}
    async with database.write() as connection:
        await ledger.save_happening(connection, 1, {**row, **ends})
    return happening_id


def _at(count_minutes: float | None) -> Instant | None:
    return None if count_minutes is None else minute(count_minutes)


async def tell(
    database: Database,
    person_id: str,
    happening_id: str,
    *,
    at: float,
    text: str = "x",
    kind: str = "trouble",
    facts: Mapping[str, Any] | None = None,
) -> None:
    """A person was told of a happening at a minute, in these words."""
    key = f"{happening_id}/trouble/{at}"
    [happening] = await written(database, "happenings", happening_id=happening_id)
    notice = {
        "notice_key": key,
        "kind": kind,
        "telling": "wake",
        "room_id": happening["room_id"],
        "happening_id": happening_id,
        "at_ms": minute(at),
        "decided_ms": minute(at),
        "use_by_ms": minute(at + 600),
        "facts": dict(facts or {}),
    }
    new = outbox.new_telling(
        delivery_id=f"{key}/{person_id}",
        notice_key=key,
        step=0,
        person_id=person_id,
        way="text",
        now_ms=minute(at),
    )
    async with database.write() as connection:
        await ledger.add_notices(connection, 1, [notice])
        await outbox.add_tellings(connection, 1, [{**new, "state": outbox.SENT, "text": text}])
