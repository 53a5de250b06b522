"""Limits for people, room by room: judged up to the present, beside the crops and held back by nothing.

This happens in the judging transaction, with the room taken. The crops' text limits wait for stragglers, first
days and confirmations; here nothing does. Whether somebody is told at once or it stands on the round sheet follows
from who may be inside (:mod:`rules.people`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rules.alarm import State
from rules.model import Instant, ProbeId, Quantity
from rules.people import (
    GOING_COUNTS_MS,
    PEOPLE_KEY,
    Case,
    PeopleLimits,
    Presence,
    case_from_plain,
    case_to_plain,
)
from rules.people_air import LONGEST_STAY_MS, REACH_MS, Air, figures
from rules.people_memory import Caught, Memory, back_to, begin, catch_up, memory_from_plain, memory_to_plain
from service.localtime import local
from service.storage import holds, ledger, people_air, readings
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.catalogue import Catalogue
from service.watch.people_facts import figures_to_plain
from service.watch.people_story import PeopleStory
from service.watch.room_now import written_down


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleJudged:
    """What judging a room by its limits for people did."""

    moved: int = 0
    notices: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleWatch:
    """Watches the air of one farm's rooms for people."""

    farm: Record
    catalogue: Catalogue

    async def judge(
        self,
        connection: Connection,
        room: Record,
        *,
        arrived_ms: Instant | None,
        until_ms: Instant,
        now_ms: Instant,
    ) -> PeopleJudged:
        """Judge a room up to ``until_ms``; ``now_ms`` is when we decide.

        Args:
            connection: the judging transaction; the room is taken.
            room: its row.
            arrived_ms: the oldest of the readings that came since the room was last judged, if any did.
            until_ms: up to where everything there was to hear has been heard.
            now_ms: now.
        """
        farm_id, room_id = self.farm["farm_id"], room["room_id"]
        kept = (await people_air.remembered(connection, farm_id, room_id)).state
        memory = _memory(kept, arrived_ms, until_ms)
        since_ms = memory.base.clock_ms
        held = await holds.holds_of(connection, farm_id, room_id, from_ms=since_ms - LONGEST_STAY_MS)
        working = [hold for hold in held if hold.kind == holds.WORKING]
        air = await self._air(connection, room_id, memory, working, until_ms)
        if kept is None and not air.readings:
            return PeopleJudged()
        caught = catch_up(memory, air, until_ms=until_ms)
        case = Case() if kept is None else case_from_plain(kept["case"])
        story = PeopleStory(farm=self.farm, room=room, air=air, now_ms=now_ms, case=case)
        if caught.steps or caught.present.over or case.is_open:
            await self._tell(connection, story, caught, working)
        # Once a minute is enough where nothing was said: nothing happens by itself in between.
        if kept is None or caught.steps or story.case != case or since_ms != caught.memory.base.clock_ms:
            state = _state(caught, story)
            await people_air.remember(connection, farm_id, room_id, at_ms=caught.memory.seen_ms, state=state)
        return PeopleJudged(moved=len(story.transitions), notices=len(story.notices))

    async def _air(
        self,
        connection: Connection,
        room_id: str,
        memory: Memory,
        working: Sequence[holds.HoldRow],
        until_ms: Instant,
    ) -> Air:
        farm_id, from_ms = self.farm["farm_id"], memory.base.clock_ms
        placed = await people_air.probes_in(connection, farm_id, room_id, from_ms=from_ms)
        stays_on = {(p["probe_id"], p["valid_from_ms"]) for p in placed}
        together: dict[tuple[Instant, Instant], list[str]] = {}
        for p in placed:
            start = max(from_ms + 1, p["valid_from_ms"])
            end = until_ms + 1 if p["valid_to_ms"] is None else min(until_ms + 1, p["valid_to_ms"])
            together.setdefault((start, end), []).append(p["probe_id"])
        found = []
        for (start, end), probes in together.items():
            found += await readings.span(
                connection, farm_id, probes, from_ms=start, to_ms=end, quantities=[Quantity.CO2]
            )
        return Air(
            limits=limits_of(self.farm),
            readings=found,
            tops={ProbeId(p["probe_id"]): p["co2_top_ppm"] for p in placed if p["co2_top_ppm"] is not None},
            taken_out=[
                (p["valid_to_ms"], ProbeId(p["probe_id"]))
                for p in placed
                if p["valid_to_ms"] is not None and (p["probe_id"], p["valid_to_ms"]) not in stays_on
            ],
            stays=[(hold.from_ms, hold.end_ms) for hold in working],
        )

    async def _presence(
        self, connection: Connection, room_id: str, working: Sequence[holds.HoldRow], now_ms: Instant
    ) -> Presence:
        """Who may be inside now. One person is one mark, whether logged inside or on the way."""
        inside = {hold.person_id or hold.hold_id for hold in working if hold.is_on(now_ms)}
        farm_id = self.farm["farm_id"]
        going = await people_air.on_the_way(connection, farm_id, room_id, since_ms=now_ms - GOING_COUNTS_MS)
        clock = local(now_ms, self.farm["zone"])
        minute = clock.hour * 60 + clock.minute
        work_hours = self.farm["morning_round_minute"] <= minute < self.farm["evening_round_minute"]
        return Presence(inside=frozenset({*inside, *going}), work_hours=work_hours)

    async def _above_on_purpose(self, connection: Connection, room: Record, now_ms: Instant) -> bool:
        growing = await written_down(connection, self.farm["farm_id"], room, self.catalogue, from_ms=now_ms)
        return any(crop.stage.above_people_limit for crop in growing.crops_at(now_ms))

    async def _tell(
        self, connection: Connection, story: PeopleStory, caught: Caught, working: Sequence[holds.HoldRow]
    ) -> None:
        farm_id, room_id = self.farm["farm_id"], story.room["room_id"]
        alarm = (await ledger.alarms_of(connection, farm_id, room_id)).get(PEOPLE_KEY)
        story.take_up(alarm, await ledger.open_people_happening(connection, farm_id, room_id))
        presence = await self._presence(connection, room_id, working, story.now_ms)
        above = await self._above_on_purpose(connection, story.room, story.now_ms)
        story.tell(caught, presence, above_on_purpose=above)
        for happening in story.happenings.values():
            await ledger.save_happening(connection, farm_id, happening)
        if story.transitions:
            await ledger.set_alarm(connection, farm_id, story.alarm, normal=story.state is State.NORMAL)
        await ledger.add_transitions(connection, farm_id, story.transitions)
        await ledger.add_notices(connection, farm_id, story.notices)


def limits_of(farm: Record) -> PeopleLimits:
    """The farm's own limits for people, the usual figures where it set none."""
    return PeopleLimits.set_by(
        eight_hours_ppm=farm.get("people_8h_ppm"),
        fifteen_minutes_ppm=farm.get("people_15min_ppm"),
        ceiling_ppm=farm.get("people_ceiling_ppm"),
    )


def _memory(kept: Mapping[str, Any] | None, arrived_ms: Instant | None, until_ms: Instant) -> Memory:
    """What is remembered, from before the oldest of the readings that came since."""
    if kept is None:
        return begin(until_ms, seen_ms=until_ms - REACH_MS)
    memory = memory_from_plain(kept["memory"])
    return memory if arrived_ms is None else back_to(memory, arrived_ms)


def _state(caught: Caught, story: PeopleStory) -> dict[str, Any]:
    return {
        "memory": memory_to_plain(caught.memory),
        "case": case_to_plain(story.case),
        "figures": figures_to_plain(figures(caught.present, story.air), caught.present.over, story.air.limits),
    }
