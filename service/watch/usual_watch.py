"""What each room usually shows, worked out at the evening round for the night and day to come.

Once an evening and room that grows something; a service that was down then does it when it is up again. What was
worked out is kept with its moment, holds from a whole hour that had not begun by then, and is never worked out
again: so the night can be judged a second time by the same figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from rules.model import HOUR_MS, MINUTE_MS, Instant, Quantity
from rules.stays import Stay, present, stays_in_order
from rules.usual import SameHour, Span, Usual, grown, usual_by_hour
from service.clock import Clock
from service.errors import PassingError
from service.localtime import at_local, local, night_before
from service.log import log
from service.storage import crops, holds, rooms, usuals
from service.storage.database import Connection, Database
from service.storage.holds import HoldRow
from service.storage.rows import Record
from service.storage.spans import pieces_of_room
from service.storage.usuals import UsualRow

QUANTITY: Final = Quantity.HUMIDITY
"""The only quantity whose text limits may hang on what is usual."""
DAYS_BACK: Final = 14
HOURS_AHEAD: Final = 26
"""A night, a day, and two hours in which the next evening's work may be late."""
NOTICE_MS: Final = MINUTE_MS
"""By the wall. Nothing worked out now holds sooner: no judgement may have gone past its beginning already."""


@dataclass(slots=True, kw_only=True)
class UsualWatch:
    """Works out what is usual, for the rooms of one farm."""

    database: Database
    farm: Record
    clock: Clock

    async def all_due(self) -> int:
        """Work it out for every room for which that was not done since the last evening round.

        Returns:
            How many rooms it was done for.

        Raises:
            PassingError: the database cannot be used just now; what was not done is done next time.
        """
        due = await self._due()
        done = [await self._contained(room_id) for room_id in due]
        return sum(done)

    async def _due(self) -> list[str]:
        evening_ms = _last_evening(self.farm, self.clock.now_ms())
        async with self.database.read() as connection:
            made = await usuals.newest_made_ms(connection, self.farm["farm_id"])
            every = await rooms.all_rooms(connection, self.farm["farm_id"])
        return [room["room_id"] for room in every if made.get(room["room_id"], -1) < evening_ms]

    async def _contained(self, room_id: str) -> bool:
        try:
            return await self.make(room_id)
        except PassingError:
            raise
        except Exception:  # noqa: BLE001 - one room's trouble must not keep the others from their evening
            log.exception("what is usual could not be worked out", room=room_id)
            return False

    async def make(self, room_id: str) -> bool:
        """Work it out for one room and keep it; false for a room that grows nothing."""
        farm_id, now_ms = self.farm["farm_id"], self.clock.now_ms()
        async with self.database.read() as connection:
            found = await self._usual(connection, room_id, now_ms)
        if found is None:
            return False
        row = UsualRow(
            quantity=QUANTITY,
            made_ms=now_ms,
            from_ms=found.from_ms,
            until_ms=found.until_ms,
            steps=found.steps,
        )
        async with self.database.write() as connection:
            await usuals.add_usual(connection, farm_id, room_id, row)
        return True

    async def _usual(self, connection: Connection, room_id: str, now_ms: Instant) -> Usual | None:
        farm_id = self.farm["farm_id"]
        stays = stays_in_order(await crops.stays_of_room(connection, farm_id, room_id))
        if not present(stays, room_id, now_ms):
            return None
        notice_ms = round(NOTICE_MS * self.clock.factor)
        hours = hours_to_come(now_ms, self.farm["zone"], notice_ms=notice_ms)
        start_ms = min(at for hour in hours for at in hour.earlier)
        held = await holds.holds_of(connection, farm_id, room_id, from_ms=start_ms)
        pieces = await pieces_of_room(connection, farm_id, room_id, from_ms=start_ms - HOUR_MS, to_ms=now_ms)
        return usual_by_hour(
            await usuals.lowest_by_minute(connection, farm_id, (p for p in pieces if p.quantity == QUANTITY)),
            quantity=QUANTITY,
            hours=hours,
            until_ms=hours[-1].from_ms + HOUR_MS,
            unlike=(*otherwise_grown(stays, room_id, since_ms=start_ms, now_ms=now_ms), *_held_back(held)),
        )


def hours_to_come(now_ms: Instant, zone: str, *, notice_ms: int = NOTICE_MS) -> list[SameHour]:
    """The farm clock's whole hours that begin after some notice, each with the same hour of the days before it."""
    here = local(now_ms + notice_ms, zone)
    begun_ms = now_ms + notice_ms - (here.minute * 60_000 + here.second * 1000 + here.microsecond // 1000)
    return [_same_hour(begun_ms + ahead * HOUR_MS, now_ms, zone) for ahead in range(1, HOURS_AHEAD + 1)]


def _same_hour(from_ms: Instant, now_ms: Instant, zone: str) -> SameHour:
    there = local(from_ms, zone)
    minute = there.hour * 60 + there.minute
    earlier = (at_local(there.date() - timedelta(days=back), minute, zone) for back in range(1, DAYS_BACK + 1))
    return SameHour(from_ms=from_ms, earlier=tuple(at_ms for at_ms in earlier if at_ms + HOUR_MS <= now_ms))


def otherwise_grown(stays: Sequence[Stay], room_id: str, *, since_ms: Instant, now_ms: Instant) -> Iterable[Span]:
    """When the room grew something else than it does now: other profiles, or other stages of them."""
    like = grown(present(stays, room_id, now_ms))
    changes = sorted({s.from_ms for s in stays if since_ms < s.from_ms <= now_ms})
    for from_ms, to_ms in zip([since_ms, *changes], [*changes, now_ms], strict=True):
        if grown(present(stays, room_id, from_ms)) != like:
            yield from_ms, to_ms


def _held_back(rows: Iterable[HoldRow]) -> Iterable[Span]:
    """When somebody worked there, or the quantity was left: what it showed then is not its habit."""
    return [(row.from_ms, row.end_ms) for row in rows if row.quantity in {None, QUANTITY}]


def _last_evening(farm: Record, now_ms: Instant) -> Instant:
    evening, morning = farm["evening_round_minute"], farm["morning_round_minute"]
    return night_before(now_ms, farm["zone"], evening_minute=evening, morning_minute=morning)[0]
