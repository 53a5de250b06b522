"""From what became of a room's air to what is written and told: the one alarm of its people limits, and notices.

The alarm has a happening of its own beside the crops': what is back in band for the crop is told when it is, while
an average over eight hours may stay over its limit for long after.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any, Final

from rules.alarm import OPEN, Happens, State, when_beyond
from rules.model import LAST_INSTANT, MINUTE_MS, Instant
from rules.people import PEOPLE_KEY, Act, Case, Grown, Presence, Telling, decide, move_people
from rules.people_air import Air, Figures, Step, figures
from rules.people_memory import Caught
from service.storage import ledger
from service.storage.rows import Record
from service.watch.people_facts import danger_facts, over_facts

LATE_MS: Final = 5 * MINUTE_MS
"""What was passed longer ago than this, and is over by now, is for the round sheet."""
BY_RULE: Final = "Houseband"


@dataclass(slots=True, kw_only=True)
class PeopleStory:
    """The alarm of a room's people limits during one judgement, and everything that came of it."""

    farm: Record
    room: Record
    air: Air
    now_ms: Instant
    case: Case
    state: State = State.NORMAL
    since_ms: Instant = 0
    happening: dict[str, Any] | None = None
    happening_id: str | None = None
    transitions: list[Record] = field(default_factory=list)
    notices: list[Record] = field(default_factory=list)
    happenings: dict[str, Record] = field(default_factory=dict)

    def take_up(self, alarm: Record | None, happening: Record | None) -> None:
        """Go on from where the alarm and its happening stand."""
        self.happening = None if happening is None else dict(happening)
        self.since_ms = self.now_ms
        if alarm is not None:
            self.state, self.since_ms = State(alarm["state"]), alarm["since_ms"]
            self.happening_id = alarm["happening_id"]

    @property
    def alarm(self) -> Record:
        """Where the alarm stands now."""
        return {
            "room_id": self.room["room_id"],
            "quantity": PEOPLE_KEY[0].value,
            "side": PEOPLE_KEY[1].value,
            "state": self.state.value,
            "since_ms": self.since_ms,
            "happening_id": self.happening_id,
        }

    def tell(self, caught: Caught, presence: Presence, *, above_on_purpose: bool) -> None:
        """Go through what became of the air, and then ask once more who is there now."""
        now = Step(
            at_ms=max(self.now_ms, caught.memory.seen_ms),
            over=caught.present.over,
            figures=figures(caught.present, self.air),
        )
        for index, step in enumerate([*caught.steps, now]):
            over_by_now = any(not later.over for later in caught.steps[index + 1 :])
            grown = Grown(above_on_purpose=above_on_purpose, air_is_above=_is_above(step.figures, self.air))
            self.case, act = decide(self.case, step.over, presence, grown)
            if act is not None:
                late = over_by_now and self.now_ms - step.at_ms > LATE_MS
                self._act(act, step, presence, learned_late=late)

    def _act(self, act: Act, step: Step, presence: Presence, *, learned_late: bool) -> None:
        if act.happens is not None:
            self._move(act.happens, step)
        if act.telling is not None and act.level is not None:
            telling = Telling.ROUND if learned_late else act.telling
            if telling is Telling.DANGER:
                self._woke()
            facts = danger_facts(act.level, step.figures, self.air.limits, sorted(presence.inside))
            self._notice(
                "danger" if telling is Telling.DANGER else "people",
                telling.value,
                step.at_ms,
                {**facts, "learned_late": learned_late},
            )

    def _move(self, wanted: Happens, step: Step) -> None:
        before = self.state
        happens = when_beyond(before) if wanted is Happens.RAISED else wanted
        if happens is None or (wanted is not Happens.RAISED and before not in OPEN):
            return
        self.state = move_people(before, happens).to
        if wanted is Happens.RAISED:
            self._join(step.at_ms)
        if wanted is not Happens.DEEPENED:
            self.since_ms = step.at_ms
        self._write(happens, before, step)
        if wanted is Happens.CLEARED:
            self._leave(step)

    def _join(self, at_ms: Instant) -> None:
        room_id = self.room["room_id"]
        if self.happening is None:
            self.happening = {
                "happening_id": f"{room_id}@{at_ms}{ledger.PEOPLE_MARK}",
                "room_id": room_id,
                "began_ms": at_ms,
                "ended_ms": None,
                "closed_ms": None,
                "woke": 0,
            }
        self.happening_id = self.happening["happening_id"]
        self.happenings[self.happening["happening_id"]] = self.happening

    def _leave(self, step: Step) -> None:
        if self.happening is None:
            return
        ended = self.happening
        ended["ended_ms"] = step.at_ms
        ended["closed_ms"] = None if self.state is State.RETURNED_UNACKNOWLEDGED else step.at_ms
        self.happenings[ended["happening_id"]] = ended
        # Where it ends because nobody is inside any more, the air is as it was: there is nothing to tell.
        sayable = not step.over and step.figures.now_ppm is not None
        telling = "wake" if ended["woke"] and sayable else "round"
        self._notice("back", telling, step.at_ms, over_facts(step.figures, still_above=bool(step.over)))
        self.happening = None

    def _woke(self) -> None:
        if self.happening is not None:
            self.happening["woke"] = 1
            self.happenings[self.happening["happening_id"]] = self.happening

    def _write(self, happens: Happens, before: State, step: Step) -> None:
        now = step.figures
        said = {
            "over": sorted(step.over),
            "now_ppm": now.now_ppm,
            "fifteen_minutes_ppm": now.fifteen_minutes.ppm,
            "eight_hours_ppm": now.eight_hours.ppm,
        }
        self.transitions.append(
            {
                "room_id": self.room["room_id"],
                "quantity": PEOPLE_KEY[0].value,
                "side": PEOPLE_KEY[1].value,
                "at_ms": step.at_ms,
                "happens": happens.value,
                "from_state": before.value,
                "to_state": self.state.value,
                "decided_ms": self.now_ms,
                "who": BY_RULE,
                "happening_id": self.happening_id,
                "facts": json.dumps(said),
            }
        )

    def _notice(self, kind: str, telling: str, at_ms: Instant, facts: Record) -> None:
        room_id = self.room["room_id"]
        common = {
            "room": self.room["text_name"],
            "quantity": PEOPLE_KEY[0].value,
            "side": PEOPLE_KEY[1].value,
            "began_ms": self.since_ms,
            "at_ms": at_ms,
            "invented": bool(self.farm["invented"]),
            "zone": self.farm["zone"],
        }
        self.notices.append(
            {
                "notice_key": f"{room_id}/{PEOPLE_KEY[0].value}/{PEOPLE_KEY[1].value}/{kind}/{at_ms}",
                "kind": kind,
                "telling": telling,
                "room_id": room_id,
                "happening_id": self.happening_id,
                "at_ms": at_ms,
                "decided_ms": self.now_ms,
                "use_by_ms": LAST_INSTANT,
                "facts": {**common, **facts},
            }
        )


def _is_above(now: Figures, air: Air) -> bool:
    """Whether the air of now is above the figure of the eight-hour limit; not knowing counts as above."""
    unsure = now.now_ppm is None or now.now_at_top
    return unsure or now.fifteen_minutes.cautious_ppm > air.limits.eight_hours_ppm
