"""Holding back: somebody works in a room, or a limit is left until a time.

What is held back goes on being judged; only people are not told meanwhile. A hold begins when it is said, has an
end from the first and a name, and never touches the limits that hold for people themselves. One that is said again
is ended and begun anew, so that what was meant before stays written down.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from typing import Final
from uuid import uuid4

from rules.model import HOUR_MS, Instant, Quantity, Side
from service.errors import NotAllowed, NotUnderstood
from service.storage import holds, people, rooms
from service.storage.database import Connection
from service.storage.holds import LEAVE, WORKING, HoldRow
from service.storage.turn import take_turn
from service.watch.desk import Desk
from service.watch.out_clock import came_out, say_out

LONGEST_WORK_MS: Final = 12 * HOUR_MS
"""The longest day anyone works: an "out" that was forgotten must not hold back the whole night after it."""
LONGEST_LEAVE_MS: Final = 24 * HOUR_MS
"""Once a day somebody looks again and says so, or the limit speaks."""
FOR_PEOPLE: Final = (
    "limits that hold for people are never held back, whoever works and whatever is left; nothing was changed"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """One crop limit of a room, or (without quantity and side) all of them, left until a time."""

    quantity: Quantity | None = None
    side: Side | None = None
    until_ms: Instant
    why: str
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """Writes down what is held back, in one transaction."""

    connection: Connection
    farm_id: int
    now_ms: Instant

    async def working(self, room_id: str | None, person_id: str, until_ms: Instant) -> HoldRow:
        """A person works in a room (``None``: in all of them) from now until a time.

        Raises:
            NotFound: there is no such room or person.
            NotAllowed: the person has left the farm.
            NotUnderstood: the time is past, or more than :data:`LONGEST_WORK_MS` ahead.
        """
        await self._check_room(room_id)
        person = await people.person(self.connection, self.farm_id, person_id)
        if not person["active"]:
            raise NotAllowed(f"{person['name']} is on the list of people no longer")
        until = self._until(until_ms, LONGEST_WORK_MS)
        row = self._row(WORKING, room_id, until, who=person["name"])
        return await self._begin(replace(row, person_id=person_id))

    async def out(self, person_id: str) -> list[HoldRow]:
        """A person is out of every room they were working in, also where their time had run out before.

        Raises:
            NotFound: there is nobody of this id.
            NotAllowed: they were not going or working anywhere.
        """
        person = await people.person(self.connection, self.farm_id, person_id)
        since_ms = self.now_ms - LONGEST_WORK_MS
        worked = await holds.all_holds(self.connection, self.farm_id, from_ms=since_ms)
        mine = [h for h in worked if h.kind == WORKING and h.person_id == person_id and h.ended_ms is None]
        ended = [await self._end(hold, who=person["name"]) for hold in mine if hold.from_ms <= self.now_ms]
        went = await say_out(self.connection, self.farm_id, person_id, self.now_ms)
        watches = await came_out(self.connection, self.farm_id, person_id, self.now_ms)
        if not (ended or went or watches):
            raise NotAllowed(f"{person['name']} is not written down as going or working anywhere")
        return ended

    async def leave(self, room_id: str, left: Left) -> HoldRow:
        """Leave one crop limit of a room, or all, from now until a time.

        Raises:
            NotFound: there is no such room.
            NotAllowed: the limit is one that holds for people.
            NotUnderstood: a quantity without a side or the other way round, or a time that is past or too far.
        """
        if left.side is Side.PEOPLE:
            raise NotAllowed(FOR_PEOPLE)
        if (left.quantity is None) != (left.side is None):
            raise NotUnderstood("name both quantity and side, or neither for every crop limit of the room")
        await self._check_room(room_id)
        until = self._until(left.until_ms, LONGEST_LEAVE_MS)
        row = self._row(LEAVE, room_id, until, who=left.who)
        return await self._begin(replace(row, quantity=left.quantity, side=left.side, why=left.why))

    async def end(self, hold_id: str, *, who: str) -> HoldRow:
        """End a hold before its time; the person inside or anybody else may.

        Raises:
            NotFound: there is no such hold.
            NotAllowed: it is over already.
        """
        found = await holds.hold(self.connection, self.farm_id, hold_id)
        if not found.is_on(self.now_ms):
            raise NotAllowed("it is over already")
        return await self._end(found, who=who)

    async def _begin(self, row: HoldRow) -> HoldRow:
        for before in await self._on():
            if _same(before, row):
                await self._end(before, who=row.who)
        await holds.add_hold(self.connection, self.farm_id, row)
        return row

    async def _end(self, hold: HoldRow, *, who: str) -> HoldRow:
        await holds.end_hold(self.connection, self.farm_id, hold.hold_id, self.now_ms, who=who)
        return replace(hold, ended_ms=self.now_ms, ended_by=who)

    async def _on(self) -> list[HoldRow]:
        found = await holds.all_holds(self.connection, self.farm_id, from_ms=self.now_ms)
        return [hold for hold in found if hold.is_on(self.now_ms)]

    async def _check_room(self, room_id: str | None) -> None:
        if room_id is not None:
            await rooms.room(self.connection, self.farm_id, room_id)

    def _until(self, until_ms: Instant, longest_ms: int) -> Instant:
        if until_ms <= self.now_ms:
            raise NotUnderstood("that time is past; say until when from now on")
        if until_ms > self.now_ms + longest_ms:
            hours = longest_ms // HOUR_MS
            raise NotUnderstood(f"at most {hours} hours ahead; say it again then, if it still holds")
        return until_ms

    def _row(self, kind: str, room_id: str | None, until_ms: Instant, *, who: str) -> HoldRow:
        return HoldRow(
            hold_id=uuid4().hex,
            kind=kind,
            room_id=room_id,
            quantity=None,
            side=None,
            person_id=None,
            from_ms=self.now_ms,
            until_ms=until_ms,
            ended_ms=None,
            ended_by=None,
            why="",
            recorded_ms=self.now_ms,
            who=who,
        )


@asynccontextmanager
async def holding(desk: Desk) -> AsyncGenerator[Holding]:
    """One transaction in which holds begin or end; such changes happen one after the other."""
    async with desk.database.write() as connection:
        await take_turn(connection, desk.farm_id)
        yield Holding(connection=connection, farm_id=desk.farm_id, now_ms=desk.clock.now_ms())


def _same(a: HoldRow, b: HoldRow) -> bool:
    """Whether two holds hold back the same, for the same person."""
    return (a.kind, a.room_id, a.quantity, a.side, a.person_id) == (
        b.kind,
        b.room_id,
        b.quantity,
        b.side,
        b.person_id,
    )
