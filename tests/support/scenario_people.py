"""Judges a scenario's night by the limits for people, as the running service does: up to the present.

It looks every five minutes, to be quick; what was passed in between is dated by its own minute all the same.

What is told is decided by the service's own story of people limits. Work hours are the shipped ones.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from rules.alarm import State
from rules.limits import Hold, Why
from rules.model import MINUTE_MS, Instant, ProbeId, Quantity, Reading
from rules.people import GOING_COUNTS_MS, Case, PeopleLimits, Presence
from rules.people_air import Air
from rules.people_memory import Memory, begin, catch_up
from rules.schedule import Growing
from service.localtime import local
from service.storage.rows import Record
from service.watch.people_story import PeopleStory
from tests.support.scenario_clock import FarmClock
from tests.support.scenario_form import Scenario

WORK_HOURS: Final = range(6 * 60, 18 * 60)
"""From the morning to the evening round, as minutes of the day."""


LOOKS_EVERY_MS: Final = 5 * MINUTE_MS


@dataclass(slots=True, kw_only=True)
class PeopleWatch:
    """The air of the room, minute by minute."""

    clock: FarmClock
    growing: Growing
    going: tuple[tuple[str, Instant], ...]
    tops: dict[ProbeId, float]
    memory: Memory
    measured: bool
    """Whether any probe of the room measures CO2."""
    case: Case = field(default_factory=Case)
    state: State = State.NORMAL
    since_ms: Instant = 0
    happening: dict[str, Any] | None = None
    readings: list[Reading] = field(default_factory=list)

    @classmethod
    def of(cls, scenario: Scenario, clock: FarmClock, growing: Growing) -> PeopleWatch:
        """The watch of a scenario's room, which knows nothing yet."""
        tops = {ProbeId(f"probe {n}"): p.tops_out_at for n, p in enumerate(scenario.probe) if p.tops_out_at}
        going = tuple((act.who, clock.moment(act.at)) for act in scenario.people if act.does == "is going")
        memory = begin(clock.begins_ms, seen_ms=clock.begins_ms)
        measured = any(probe.co2 for probe in scenario.probe)
        return cls(clock=clock, growing=growing, going=going, tops=tops, memory=memory, measured=measured)

    def look(self, now_ms: Instant, come: Iterable[Reading], room: Record) -> list[Record]:
        """Judge up to now; the notices that come of it."""
        self.readings += [r for r in come if r.quantity is Quantity.CO2]
        if not self.measured or now_ms % LOOKS_EVERY_MS:
            return []
        base_ms = self.memory.base.clock_ms
        self.readings = [r for r in self.readings if r.at_ms > base_ms]
        working = [back.hold for back in self.growing.backs if back.hold.why is Why.WORKING]
        stays = [(hold.from_ms, hold.until_ms) for hold in working]
        air = Air(limits=PeopleLimits(), readings=self.readings, tops=self.tops, stays=stays)
        caught = catch_up(self.memory, air, until_ms=now_ms)
        story = PeopleStory(
            farm={"zone": self.clock.zone, "invented": 1},
            room=room,
            air=air,
            now_ms=now_ms,
            case=self.case,
            state=self.state,
            since_ms=self.since_ms,
            happening=self.happening,
            happening_id=None if self.happening is None else self.happening["happening_id"],
        )
        above = any(crop.stage.above_people_limit for crop in self.growing.crops_at(now_ms))
        story.tell(caught, self._presence(now_ms, working), above_on_purpose=above)
        self.memory, self.case, self.state = caught.memory, story.case, story.state
        self.since_ms, self.happening = story.since_ms, story.happening
        return story.notices

    def _presence(self, now_ms: Instant, working: Iterable[Hold]) -> Presence:
        inside = {hold.who for hold in working if hold.from_ms <= now_ms < hold.until_ms}
        on_the_way = {who for who, at_ms in self.going if 0 <= now_ms - at_ms < GOING_COUNTS_MS}
        shown = local(now_ms, self.clock.zone)
        at_work = shown.hour * 60 + shown.minute in WORK_HOURS
        return Presence(inside=frozenset(inside | on_the_way), work_hours=at_work)
