"""Batches come, move and change their stage, each from a moment on. What was written down before stays.

A move may begin in the past (somebody writes it down after the work), but not before the batch's last one, and
not ahead: a year mistyped would otherwise bar every later move.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from itertools import count
from typing import Final

from rules.model import MINUTE_MS, Instant
from rules.profile import Profile
from service.errors import NotAllowed, NotFound, NotUnderstood
from service.localtime import local_date
from service.storage import crops, rooms
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.turn import take_turn
from service.watch.catalogue import Catalogue, stage_of
from service.watch.desk import Desk
from service.watch.sharing import Accepting, room_share, settle
from service.wording.units import Units

AHEAD_ALLOWED_MS: Final = 5 * MINUTE_MS
"""Two clocks may differ that much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """A batch as somebody describes it; what is ``None`` was not said."""

    profile: str
    version: int | None = None
    strain: str | None = None
    count: int | None = None
    container: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """From a moment on a batch is in a room (or in none) at a stage."""

    room_id: str | None
    stage: str
    from_ms: Instant | None
    """``None``: from now."""
    who: str
    profile: str | None = None
    """Grow on by this one, in its newest version unless one is named; ``None``: as before."""
    version: int | None = None
    accepts_compromise: bool = False
    """``who`` accepts that the room will not suit all that stands in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moving:
    """Takes down moves, within the caller's transaction, of which there is one at a time."""

    connection: Connection
    farm_id: int
    zone: str
    units: Units
    """What reasons are given in."""
    catalogue: Catalogue
    now_ms: Instant

    async def make(self, batch_id: str, blocks: Blocks, move: Move) -> None:
        """Write down a new batch and where it begins.

        Raises:
            NotFound: there is no such profile, stage or room.
            NotAllowed: there is a batch of this id.
            NothingInCommon: the room would not suit all in it, and that is not accepted.
            NotUnderstood: the move lies ahead.
        """
        profile = await self.catalogue.get(self.connection, blocks.profile, blocks.version)
        values = {
            "batch_id": batch_id,
            "profile": profile.name,
            "version": profile.version,
            "strain": blocks.strain or "",
            "count": blocks.count or 0,
            "container": blocks.container or "",
            "recorded_ms": self.now_ms,
            "who": move.who,
        }
        await crops.add_batch(self.connection, self.farm_id, values)
        await self._stay(batch_id, profile, move)

    async def move(self, batch_id: str, move: Move) -> None:
        """Write down that a batch moves, or changes its stage.

        Raises:
            NotFound: there is no such batch, profile, version, stage or room.
            NotAllowed: the batch has moved later than that already.
            NothingInCommon: the room would not suit all in it, and that is not accepted.
            NotUnderstood: the move lies ahead.
        """
        await crops.batch(self.connection, self.farm_id, batch_id)
        last = (await crops.stays_of_batch(self.connection, self.farm_id, batch_id))[-1]
        name = last["profile"] if move.profile is None else move.profile
        goes_on = move.version is None and name == last["profile"]
        profile = await self.catalogue.get(self.connection, name, last["version"] if goes_on else move.version)
        await self._stay(batch_id, profile, move)

    async def assign(self, batch_id: str | None, blocks: Blocks, move: Move) -> str:
        """Let a room hold a stage of a profile, by the batch named (made, unless it is there) or by a new one.

        Returns:
            The batch.

        Raises:
            NotFound, NotAllowed, NothingInCommon, NotUnderstood: as for making and moving; also where the
                batch is of another profile.
        """
        if batch_id is None:
            batch_id = await self._fresh_id(blocks.profile)
        try:
            present = await crops.batch(self.connection, self.farm_id, batch_id)
        except NotFound:
            await self.make(batch_id, blocks, move)
            return batch_id
        _check_same(present, blocks)
        await self.move(batch_id, move)
        return batch_id

    async def _fresh_id(self, profile: str) -> str:
        day = local_date(self.now_ms, self.zone).isoformat()
        for number in count(1):
            batch_id = f"{profile}-{day}" if number == 1 else f"{profile}-{day}-{number}"
            try:
                await crops.batch(self.connection, self.farm_id, batch_id)
            except NotFound:
                return batch_id
        raise AssertionError("numbers do not end")

    async def _stay(self, batch_id: str, profile: Profile, move: Move) -> None:
        stage_of(profile, move.stage)
        if move.room_id is not None:
            await rooms.room(self.connection, self.farm_id, move.room_id)
        from_ms = not_ahead(move.from_ms, self.now_ms)
        earlier = await crops.stays_of_batch(self.connection, self.farm_id, batch_id)
        if earlier and from_ms < earlier[-1]["valid_from_ms"]:
            raise NotAllowed(f"batch {batch_id!r} has moved later than that already; what was written down stays")
        # Two entries of one millisecond would be one: the second would be lost without a word.
        recorded_ms = max([self.now_ms, *(s["recorded_ms"] + 1 for s in earlier if s["valid_from_ms"] == from_ms)])
        values = {
            "batch_id": batch_id,
            "valid_from_ms": from_ms,
            "recorded_ms": recorded_ms,
            "room_id": move.room_id,
            "stage": move.stage,
            "profile": profile.name,
            "version": profile.version,
            "who": move.who,
        }
        await crops.add_stay(self.connection, self.farm_id, values)
        if move.room_id is not None:
            await self._settle(move.room_id, profile, move, from_ms)

    async def _settle(self, room_id: str, profile: Profile, move: Move, from_ms: Instant) -> None:
        await settle(
            self.connection,
            self.farm_id,
            await room_share(self.connection, self.farm_id, room_id, self.catalogue),
            kind=(profile.name, profile.version, move.stage),
            from_ms=from_ms,
            accepting=Accepting(who=move.who, now_ms=self.now_ms) if move.accepts_compromise else None,
            units=self.units,
        )


@asynccontextmanager
async def moving(desk: Desk) -> AsyncGenerator[Moving]:
    """One transaction in which batches move; such changes happen one after the other."""
    async with desk.database.write() as connection:
        await take_turn(connection, desk.farm_id)
        yield Moving(
            connection=connection,
            farm_id=desk.farm_id,
            zone=desk.farm["zone"],
            units=desk.farm["units"],
            catalogue=desk.catalogue,
            now_ms=desk.clock.now_ms(),
        )


def not_ahead(from_ms: Instant | None, now_ms: Instant) -> Instant:
    """The moment asked for, or now.

    Raises:
        NotUnderstood: it lies ahead.
    """
    if from_ms is None:
        return now_ms
    if from_ms > now_ms + AHEAD_ALLOWED_MS:
        raise NotUnderstood("that moment lies ahead; write a move down when it is made")
    return from_ms


def _check_same(present: Record, blocks: Blocks) -> None:
    said = {
        "profile": blocks.profile,
        "version": blocks.version,
        "strain": blocks.strain,
        "count": blocks.count,
        "container": blocks.container,
    }
    different = [name for name, value in said.items() if value is not None and value != present[name]]
    if different:
        raise NotAllowed(
            f"there is a batch {present['batch_id']!r} already, with another {' and '.join(different)}; "
            "leave those out, or name a new batch"
        )
