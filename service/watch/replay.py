"""Stored history judged once more: what would have been told of a room, with its own limits or with others.

The same fold, the same story and the same table of moves as at the time, in one go and without writing anything.
What is asked of the past is what was known then: a stay that was written down late counts from the moment it was
written down, a probe from the moment it was said to hang there.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from rules.alarm import State
from rules.evaluate import standing
from rules.event import Event
from rules.history import History
from rules.limits import Key, RoomLimits
from rules.model import DAY_MS, Instant, ProbeId, Quantity, Side
from rules.profile import Profile
from rules.replay import replay
from rules.room_state import RoomState
from rules.schedule import Growing, schedule
from rules.stays import ProfileKey, stays_in_order
from rules.trial import Trial, tried
from service.errors import NotUnderstood
from service.storage import crops, history, rooms, views
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.spans import pieces_between
from service.watch.catalogue import Catalogue
from service.watch.facts import Place
from service.watch.judge import SETTLE_MS
from service.watch.room_now import written_down
from service.watch.story import BY_RULE, Story

LEAD_IN_MS: Final = DAY_MS
"""A room older than the span is judged from this long before it: what was open then is taken as it stood."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """What is tried: single figures, or a profile that stands in for the one of its name."""

    trials: Sequence[Trial] = ()
    profile: Profile | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """What would have been written down of a room in a span, as transitions and notices are kept."""

    from_ms: Instant
    to_ms: Instant
    transitions: tuple[Record, ...]
    notices: tuple[Record, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """A room from one moment to another: its limits, where its probes hung, and what they measured."""

    from_ms: Instant
    to_ms: Instant
    schedule: Sequence[RoomLimits]
    placed: Sequence[Record]
    histories: Sequence[History]


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """Goes through the history of one farm's rooms."""

    connection: Connection
    farm: Record
    catalogue: Catalogue

    async def room(self, room: Record, *, from_ms: Instant, to_ms: Instant, changed: Changed) -> Replayed:
        """Judge a room's span again, as far as it was judged at the time.

        Raises:
            NotUnderstood: the room grew nothing of the profile that is tried, or the profile lacks its stage.
        """
        past = await self.past(room, from_ms=from_ms, to_ms=to_ms, changed=changed)
        if past is None:
            return Replayed(from_ms=from_ms, to_ms=to_ms, transitions=(), notices=())
        told = _Telling(
            story=_story(self.farm, room),
            schedule=past.schedule,
            placed=past.placed,
            acts=await self._acts(room["room_id"], past.from_ms, past.to_ms),
        )
        # Months take seconds, and whoever listens for readings must not wait for that.
        await asyncio.to_thread(told.go_through, past.histories, past.from_ms, past.to_ms - 1)
        return told.within(from_ms, past.to_ms)

    async def past(self, room: Record, *, from_ms: Instant, to_ms: Instant, changed: Changed) -> Past | None:
        """Read a span of a room as far as it was judged, with what leads up to it; ``None`` where there is none.

        Raises:
            NotUnderstood: the room grew nothing of the profile that is tried, or the profile lacks its stage.
        """
        judged_ms = await views.judged_until(self.connection, self.farm["farm_id"], room["room_id"]) or 0
        begin_ms, end_ms = max(room["created_ms"], from_ms - LEAD_IN_MS), min(to_ms, judged_ms + 1)
        if begin_ms >= end_ms:
            return None
        limits = await self._schedule(room, begin_ms, end_ms, changed)
        placed = await self._placed(room["room_id"], begin_ms)
        histories = await self._histories(placed, limits, begin_ms, end_ms)
        return Past(from_ms=begin_ms, to_ms=end_ms, schedule=limits, placed=placed, histories=histories)

    async def _schedule(
        self, room: Record, from_ms: Instant, to_ms: Instant, changed: Changed
    ) -> tuple[RoomLimits, ...]:
        growing = await written_down(self.connection, self.farm["farm_id"], room, self.catalogue, from_ms=from_ms)
        if changed.profile is not None:
            growing = replace(growing, profiles=_standing_in(growing.profiles, changed.profile))
        rows = await crops.stays_of_room(self.connection, self.farm["farm_id"], room["room_id"])
        try:
            limits = await asyncio.to_thread(as_known, growing, rows, from_ms=from_ms, until_ms=to_ms)
        except KeyError as error:
            raise NotUnderstood(str(error.args[0])) from error
        return tried(limits, changed.trials)

    async def _placed(self, room_id: str, from_ms: Instant) -> list[Record]:
        """Where probes hung, each from the moment it was said."""
        found = await rooms.placements_in(self.connection, self.farm["farm_id"], room_id, from_ms=from_ms)
        return [{**row, "valid_from_ms": max(row["valid_from_ms"], row["recorded_ms"])} for row in found]

    async def _histories(
        self, placed: Iterable[Record], limits: Sequence[RoomLimits], from_ms: Instant, to_ms: Instant
    ) -> list[History]:
        wanted = {key[0] for one in limits for key in one.limits}
        spans = [
            (
                row["probe_id"],
                max(row["valid_from_ms"], from_ms + 1),
                to_ms if row["valid_to_ms"] is None else min(row["valid_to_ms"], to_ms),
            )
            for row in placed
        ]
        pieces = await pieces_between(self.connection, self.farm["farm_id"], spans)
        found = []
        for piece in (one for one in pieces if Quantity(one.quantity) in wanted):
            at_ms, value = await history.arrays(self.connection, self.farm["farm_id"], piece)
            probe, quantity = ProbeId(piece.probe), Quantity(piece.quantity)
            found.append(History(probe=probe, quantity=quantity, at_ms=at_ms, value=value))
        return found

    async def _acts(self, room_id: str, from_ms: Instant, to_ms: Instant) -> list[Record]:
        """What people and the morning sheet did to alarms, oldest first."""
        told = await views.told_between(
            self.connection, self.farm["farm_id"], from_ms=from_ms, to_ms=to_ms, limit=_MOST, room_id=room_id
        )
        return [row for row in reversed(told) if row["who"] != BY_RULE]


_MOST: Final = 1_000_000


@dataclass(slots=True, kw_only=True)
class _Telling:
    """What comes of a room's history, event by event."""

    story: Story
    schedule: Sequence[RoomLimits]
    placed: Sequence[Record]
    acts: list[Record]

    def go_through(self, histories: Sequence[History], begin_ms: Instant, until_ms: Instant) -> None:
        """Judge up to each moment at which a probe leaves or somebody may be woken who could not be, and tell."""
        state = RoomState(clock_ms=begin_ms)
        for to_ms in [*self._stops(begin_ms, until_ms), until_ms]:
            present = frozenset(ProbeId(row["probe_id"]) for row in self._hanging(state.clock_ms + 1))
            state, events = replay(histories, schedule=self.schedule, until_ms=to_ms, state=state, placed=present)
            self._tell(events)
            self.story.now_ms = to_ms + SETTLE_MS
            if self.story.has_woken_nobody:
                self.story.owe(standing(state, schedule=self.schedule, placed=present))

    def within(self, from_ms: Instant, to_ms: Instant) -> Replayed:
        """What was told of a span."""
        return Replayed(
            from_ms=from_ms,
            to_ms=to_ms,
            transitions=tuple(row for row in self.story.transitions if from_ms <= row["at_ms"] < to_ms),
            notices=tuple(row for row in self.story.notices if from_ms <= row["at_ms"] < to_ms),
        )

    def _stops(self, begin_ms: Instant, until_ms: Instant) -> list[Instant]:
        left = {row["valid_to_ms"] - 1 for row in self.placed if row["valid_to_ms"] is not None}
        came = {row["valid_from_ms"] - 1 for row in self.placed}
        wakes = {
            after.from_ms for before, after in pairwise(self.schedule) if _may_wake(after) - _may_wake(before)
        }
        return sorted(at for at in left | came | wakes if begin_ms < at < until_ms)

    def _hanging(self, at_ms: Instant) -> Iterator[Record]:
        for row in self.placed:
            if row["valid_from_ms"] <= at_ms and (row["valid_to_ms"] is None or at_ms < row["valid_to_ms"]):
                yield row

    def _tell(self, events: Iterable[Event]) -> None:
        for event in events:
            self._act_until(event.at_ms + SETTLE_MS)
            self.story.place = replace(
                self.story.place, probe_places={p["probe_id"]: p["place"] for p in self._hanging(event.at_ms)}
            )
            self.story.now_ms = event.at_ms + SETTLE_MS
            self.story.tell([event])

    def _act_until(self, at_ms: Instant) -> None:
        """Take what people did by then, where it could have been done here too."""
        while self.acts and self.acts[0]["at_ms"] < at_ms:
            act = self.acts.pop(0)
            key: Key = (Quantity(act["quantity"]), Side(act["side"]))
            if self.story.states.get(key) == State(act["from_state"]):
                self.story.states[key] = State(act["to_state"])


def _story(farm: Record, room: Record) -> Story:
    place = Place(farm=farm, room=room, probe_places={})
    return Story(place=place, now_ms=0, states={}, since={}, happening=None)


def _may_wake(limits: RoomLimits) -> set[Key]:
    return {key for key, limit in limits.limits.items() if limit.crop.wakes}


def _standing_in(profiles: Mapping[ProfileKey, Profile], tried_out: Profile) -> dict[ProfileKey, Profile]:
    if not any(name == tried_out.name for name, _ in profiles):
        grown = ", ".join(sorted({name for name, _ in profiles})) or "nothing"
        raise NotUnderstood(f"the room grew no {tried_out.name} in that time, but {grown}")
    return {key: tried_out if key[0] == tried_out.name else profile for key, profile in profiles.items()}


def as_known(
    growing: Growing, rows: Sequence[Record], *, from_ms: Instant, until_ms: Instant
) -> tuple[RoomLimits, ...]:
    """The limits of a room by what was written down about it at each moment.

    Args:
        growing: the room with all that is written down now.
        rows: stays as they were written down, each with ``valid_from_ms`` and ``recorded_ms``.
        from_ms: from when.
        until_ms: up to when.
    """
    learned = sorted(
        {row["recorded_ms"] for row in rows if _is_late(row) and from_ms < row["recorded_ms"] <= until_ms}
    )
    found: list[RoomLimits] = []
    for begin_ms, end_ms in pairwise([from_ms, *learned, until_ms + 1]):
        known = [row for row in rows if not _is_late(row) or row["recorded_ms"] <= begin_ms]
        then = replace(growing, stays=stays_in_order(known))
        found += schedule(then, since_ms=begin_ms, until_ms=end_ms - 1)
    return tuple(found)


def _is_late(row: Record) -> bool:
    return bool(row["recorded_ms"] > row["valid_from_ms"])
