"""The second transaction: what do the recorded readings of one room mean?

One room is locked, its stored readings are folded from where it was judged to the present (less a settling time
for stragglers), and state, alarms, happenings and notices are written in one commit. Judging twice, or in other
portions, or after a crash, gives the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from rules.alarm import State
from rules.evaluate import standing
from rules.event import Event
from rules.hanging import Hung, evaluate_where_hung, hanging
from rules.hindsight import judge_again, window_from
from rules.limits import Key
from rules.model import SECOND_MS, Instant, ProbeId, Reading, Side
from rules.room_state import RoomState, from_plain, to_plain
from rules.schedule import schedule
from service.storage import judgements, ledger, readings, rooms
from service.storage.database import Connection, Database
from service.storage.figures import figures_of
from service.storage.judgements import Judgement
from service.storage.rows import Record
from service.watch.catalogue import Catalogue
from service.watch.facts import Place, trouble_facts
from service.watch.people_watch import PeopleWatch
from service.watch.room_now import written_down
from service.watch.story import BY_RULE, Story

SETTLE_MS: Final = 15 * SECOND_MS
"""How long a reading may be under way and still be taken in its turn."""
SEVERAL: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What one judgement did."""

    moved: int
    notices: int


class Judge:
    """Judges the rooms of one farm."""

    def __init__(self, database: Database, farm: Record, catalogue: Catalogue) -> None:
        self.database = database
        self.farm = farm
        self.farm_id: int = farm["farm_id"]
        self.catalogue = catalogue
        self.people = PeopleWatch(farm=farm, catalogue=catalogue)

    async def rooms_due(self, until_ms: Instant) -> list[str]:
        """Rooms that have something to judge up to ``until_ms``."""
        async with self.database.read() as connection:
            return await judgements.rooms_to_judge(connection, self.farm_id, until_ms)

    async def judge(self, room_id: str, *, until_ms: Instant, now_ms: Instant) -> Judged:
        """Judge one room up to ``until_ms``; ``now_ms`` is when we decide.

        Raises:
            PassingError: the database cannot take it just now; nothing was written.
        """
        async with self.database.write() as connection:
            judgement = await judgements.lock(connection, self.farm_id, room_id)
            if judgement is None:
                return Judged(moved=0, notices=0)
            for_people = await self._judge_for_people(connection, judgement, until_ms, now_ms)
            if until_ms <= judgement.judged_ms and judgement.again_from_ms is None:
                return for_people
            crops = await self._judge(connection, judgement, max(until_ms, judgement.judged_ms), now_ms)
            return Judged(moved=for_people.moved + crops.moved, notices=for_people.notices + crops.notices)

    async def standing_facts(self, connection: Connection, room_id: str) -> list[dict[str, Any]]:
        """What is open in a room as last judged, each as the facts of a text of now would have it."""
        judgement = await judgements.look(connection, self.farm_id, room_id)
        if judgement is None:
            return []
        room = await rooms.room(connection, self.farm_id, room_id)
        state = _state(judgement)
        placed = await rooms.placements_in(connection, self.farm_id, room_id, from_ms=state.clock_ms)
        growing = await written_down(connection, self.farm_id, room, self.catalogue, from_ms=state.clock_ms)
        limits = schedule(growing, since_ms=state.clock_ms, until_ms=state.clock_ms)
        hung = hanging([_hung(placement) for placement in placed], state.clock_ms + 1)
        places = {p["probe_id"]: p["place"] for p in placed if p["valid_to_ms"] is None}
        place = Place(farm=self.farm, room=room, probe_places=places)
        open_now = standing(state, schedule=limits, placed=hung)
        return [trouble_facts(e, place, e.judged_by) for e in open_now if e.judged_by and e.value is not None]

    async def _judge_for_people(
        self, connection: Connection, judgement: Judgement, until_ms: Instant, now_ms: Instant
    ) -> Judged:
        """Limits for people do not wait for stragglers: up to now, unless there is more that we have not heard."""
        heard_ms = now_ms if until_ms >= now_ms - SETTLE_MS else until_ms
        room = await rooms.room(connection, self.farm_id, judgement.room_id)
        arrived_ms = min(judgement.arrivals.values(), default=None)
        done = await self.people.judge(connection, room, arrived_ms=arrived_ms, until_ms=heard_ms, now_ms=now_ms)
        return Judged(moved=done.moved, notices=done.notices)

    async def _judge(
        self, connection: Connection, judgement: Judgement, until_ms: Instant, now_ms: Instant
    ) -> Judged:
        room = await rooms.room(connection, self.farm_id, judgement.room_id)
        state = _state(judgement)
        start_ms = judgement.judged_ms
        if judgement.again_from_ms is not None:
            start_ms = window_from(state, judgement.again_from_ms)
        placed = await rooms.placements_in(connection, self.farm_id, judgement.room_id, from_ms=start_ms)
        history = await self._history(connection, placed, start_ms, until_ms)
        growing = await written_down(connection, self.farm_id, room, self.catalogue, from_ms=start_ms)
        limits = schedule(growing, since_ms=start_ms, until_ms=until_ms)
        hung = [_hung(placement) for placement in placed]
        events: tuple[Event, ...] = ()
        if judgement.again_from_ms is not None:
            state, owed = judge_again(state, from_ms=start_ms, schedule=limits, readings=history, hung=hung)
            events = await self._after_what_was_told(connection, judgement.room_id, owed, start_ms)
        state, new = evaluate_where_hung(state, schedule=limits, readings=history, until_ms=until_ms, hung=hung)
        story = await self._story(connection, room, placed, now_ms)
        story.heard = frozenset(quantity for (_, quantity), held in state.held.items() if not held.expired)
        story.tell((*events, *new))
        if story.has_woken_nobody:
            story.owe(standing(state, schedule=limits, placed=hanging(hung, state.clock_ms + 1)))
        await self._let_others_follow(connection, story)
        await self._write(connection, judgement, story, state)
        return Judged(moved=len(story.moved), notices=len(story.notices))

    async def _after_what_was_told(
        self, connection: Connection, room_id: str, owed: Sequence[Event], start_ms: Instant
    ) -> tuple[Event, ...]:
        """Moves that are owed, none as of a moment before the last that was told of the same alarm.

        Where crops were written down late, an alarm may be owed as of the moment at which it was raised before:
        its text would be taken for the one that went out then.
        """
        told = await ledger.last_moves(connection, self.farm_id, room_id, who=BY_RULE, after_ms=start_ms)
        moved = [replace(event, at_ms=max(event.at_ms, told.get(event.key, event.at_ms))) for event in owed]
        return tuple(sorted(moved, key=lambda event: event.at_ms))

    async def _history(
        self, connection: Connection, placed: list[Record], from_ms: Instant, until_ms: Instant
    ) -> list[Reading]:
        """Readings of the room's probes while they hung in it, ``from_ms`` (exclusive) to ``until_ms``."""
        found: list[Reading] = []
        for placement in placed:
            start = max(from_ms + 1, placement["valid_from_ms"])
            end = until_ms + 1 if placement["valid_to_ms"] is None else min(until_ms + 1, placement["valid_to_ms"])
            probe = placement["probe_id"]
            found += await readings.span(connection, self.farm_id, [probe], from_ms=start, to_ms=end)
        return found

    async def _story(self, connection: Connection, room: Record, placed: list[Record], now_ms: Instant) -> Story:
        all_alarms = await ledger.alarms_of(connection, self.farm_id, room["room_id"])
        alarms = {key: alarm for key, alarm in all_alarms.items() if key[1] is not Side.PEOPLE}
        happening = await ledger.open_happening(connection, self.farm_id, room["room_id"])
        places = {p["probe_id"]: p["place"] for p in placed if p["valid_to_ms"] is None}
        far_told = {}
        if happening is not None:
            far_told = await ledger.far_limits_told(connection, self.farm_id, str(happening["happening_id"]))
        return Story(
            place=Place(farm=self.farm, room=room, probe_places=places),
            now_ms=now_ms,
            states={key: State(row["state"]) for key, row in alarms.items()},
            since={key: row["since_ms"] for key, row in alarms.items()},
            happening=None if happening is None else dict(happening),
            happening_of={key: row["happening_id"] for key, row in alarms.items()},
            far_told=far_told,
        )

    async def _let_others_follow(self, connection: Connection, story: Story) -> None:
        """On a farm of several rooms a first text waits a moment: what fails everywhere at once is told as one."""
        fresh = [n for n in story.notices if n["kind"] == "trouble" and n["telling"] == "wake"]
        if not fresh or len(await rooms.rooms_that_grow(connection, self.farm_id)) < SEVERAL:
            return
        until_ms = story.now_ms + (await figures_of(connection, self.farm_id)).ms("merge_wait_seconds")
        for notice in fresh if until_ms > story.now_ms else ():
            notice["facts"]["tell_from_ms"] = max(until_ms, notice["facts"].get("tell_from_ms", 0))

    async def _write(self, connection: Connection, judgement: Judgement, story: Story, state: RoomState) -> None:
        await judgements.save(connection, self.farm_id, judgement, judged_ms=state.clock_ms, state=to_plain(state))
        for happening in story.happenings.values():
            await ledger.save_happening(connection, self.farm_id, happening)
        for key in story.moved:
            row = _alarm_row(judgement.room_id, key, story)
            await ledger.set_alarm(connection, self.farm_id, row, normal=story.states[key] is State.NORMAL)
        await ledger.add_transitions(connection, self.farm_id, story.transitions)
        await ledger.add_notices(connection, self.farm_id, story.notices)


def _alarm_row(room_id: str, key: Key, story: Story) -> Record:
    return {
        "room_id": room_id,
        "quantity": key[0].value,
        "side": key[1].value,
        "state": story.states[key].value,
        "since_ms": story.since[key],
        "happening_id": story.happening_of.get(key),
    }


def _hung(placement: Record) -> Hung:
    return Hung(
        probe=ProbeId(placement["probe_id"]), from_ms=placement["valid_from_ms"], to_ms=placement["valid_to_ms"]
    )


def _state(judgement: Judgement) -> RoomState:
    if not judgement.state:
        return RoomState(clock_ms=judgement.judged_ms)
    return from_plain(judgement.state)
