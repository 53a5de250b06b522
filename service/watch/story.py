"""From what happened to limits to what is written and told: alarms moved, happenings, notices.

A *happening* is a room's unbroken time with any open alarm. It has one first text; another limit passed meanwhile
goes to the round sheet, and only a far limit speaks again. A stretch that began and ended before we could tell
anyone wakes nobody: it is on the round sheet as learned late.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import Any, Final

from rules.alarm import OPEN, Happens, Moved, State, Tells, move, when_beyond
from rules.event import Change, Event
from rules.limits import Key, Why
from rules.model import HOUR_MS, MINUTE_MS, Instant, Quantity
from service.storage.rows import Record
from service.watch.facts import Place, back_facts, held_facts, trouble_facts

LATE_MS: Final = 5 * MINUTE_MS
"""A passed limit that we decide on later than this, and that is over or held back by then, wakes nobody."""
REST_MS: Final = 2 * MINUTE_MS
"""A limit that was passed long ago in a room that is not heard now: the rest of a lump may be on its way."""
USE_BY_MS: Final = 2 * HOUR_MS
"""A text that could not be sent by then is missed: the room's state has moved on."""
FAR_AGAIN_MS: Final = HOUR_MS
"""A value that jumps about its far limit while something else keeps the room in trouble speaks no more often."""
BY_RULE: Final = "Houseband"

_SAME: Final = {Change.DEEPENED: Happens.DEEPENED, Change.CLEARED: Happens.CLEARED}
_OVER: Final = frozenset({Change.CLEARED, Change.HELD})
"""After these there is nothing more to be told of what came before."""
_HELD_BACK: Final = {State.SHELVED: Happens.UNSHELVED, State.SUPPRESSED: Happens.UNSUPPRESSED}
"""States in which people are not told, and what their end is called."""


@dataclass(slots=True, kw_only=True)
class Story:
    """The alarms of one room during one judgement, and everything that came of it."""

    place: Place
    now_ms: Instant
    states: dict[Key, State]
    since: dict[Key, Instant]
    happening: dict[str, Any] | None
    heard: AbstractSet[Quantity] = frozenset(Quantity)
    """What the room's probes hold a value of at the end of this judgement."""
    far_told: dict[Key, Instant] = field(default_factory=dict)
    """When a far limit spoke last in the happening that is open."""
    moved: set[Key] = field(default_factory=set)
    transitions: list[Record] = field(default_factory=list)
    notices: list[Record] = field(default_factory=list)
    happenings: dict[str, Record] = field(default_factory=dict)
    happening_of: dict[Key, str | None] = field(default_factory=dict)

    def tell(self, events: Sequence[Event]) -> None:
        """Apply the events in order."""
        for index, event in enumerate(events):
            over_by_now = any(later.key == event.key and later.change in _OVER for later in events[index + 1 :])
            self._apply(event, learned_late=over_by_now and self.now_ms - event.at_ms > LATE_MS)

    @property
    def has_woken_nobody(self) -> bool:
        """True while something is open and nobody was woken for it."""
        return self.happening is not None and not self.happening["woke"]

    def owe(self, standing: Sequence[Event]) -> None:
        """Wake for what is open and has woken nobody, once it may: first days ended, or figures were stood for.

        Args:
            standing: the open alarms, each with the facts of now; one that is on its way back can wait.
        """
        may = [e for e in standing if e.judged_by and e.judged_by.crop.wakes and e.value is not None and e.beyond]
        for event in may:
            unanswered = self.states.get(event.key) is State.UNACKNOWLEDGED
            if unanswered and self.happening is not None and self.has_woken_nobody:
                self.happenings[self.happening["happening_id"]] = self.happening
                self._notice_trouble(event, Tells.TROUBLE, learned_late=False)

    def _apply(self, event: Event, *, learned_late: bool) -> None:
        before = self.states.get(event.key, State.NORMAL)
        happens = _happens(event, before)
        if happens is None:
            return
        moved = move(before, happens, beyond_now=event.beyond)
        if moved.tells is Tells.TROUBLE:
            self._join_happening(event)
        self._write(event, happens, before, moved)
        if event.change is Change.HELD:
            self._hold_back(event, before)
        elif event.change is Change.RELEASED and not event.beyond:
            self._tell_mended(event)
        elif moved.tells is Tells.BACK:
            self._tell_end(event)
        elif moved.tells is not Tells.NOTHING and event.value is not None:
            self._notice_trouble(event, moved.tells, learned_late=learned_late)

    # --- happenings -----------------------------------------------------------------------------------------

    def _join_happening(self, event: Event) -> None:
        if self.happening is None:
            self.far_told = {}
            self.happening = {
                "happening_id": f"{self.place.room['room_id']}@{event.at_ms}",
                "room_id": self.place.room["room_id"],
                "began_ms": event.at_ms,
                "ended_ms": None,
                "closed_ms": None,
                "woke": 0,
            }
        self.happenings[self.happening["happening_id"]] = self.happening
        self.happening_of[event.key] = self.happening["happening_id"]

    def _is_last(self) -> bool:
        """Whether the happening that is open has no open alarm left."""
        return self.happening is not None and not any(state in OPEN for state in self.states.values())

    def _tell_end(self, event: Event) -> None:
        if self.happening is None or not self._is_last():
            return
        facts = back_facts(event, self.place, event.judged_by)
        sayable = event.value is not None and event.judged_by is not None
        telling = "wake" if self.happening["woke"] and sayable else "round"
        self._notice("back", telling, event, facts, happening_id=self._present)
        self._end_happening(event.at_ms)

    def _hold_back(self, event: Event, before: State) -> None:
        """For the round sheet; and where nothing else is open, whoever was not told yet need not be."""
        last = self._is_last()
        self._notice(
            "held", "round", event, held_facts(event, self.place), happening_id=self._present if last else None
        )
        if before is State.RETURNED_UNACKNOWLEDGED:
            self.happening_of[event.key] = None  # its end was told
        if last:
            self._end_happening(event.at_ms)

    def _tell_mended(self, event: Event) -> None:
        """It is over by the time it is no longer held back: those who were woken for it before hear so, once."""
        told = self.happening_of.get(event.key)
        waits = [k for k, s in self.states.items() if s in _HELD_BACK and self.happening_of.get(k) == told]
        if told in {None, self._present} or waits or event.value is None or event.judged_by is None:
            return
        if event.judged_by.near.is_beyond(event.value):
            return  # out again, and not yet for as long as it must be to be told
        facts = back_facts(event, self.place, event.judged_by)
        self._notice("back", "wake", event, facts, happening_id=told)

    @property
    def _present(self) -> str | None:
        """The happening that is open."""
        return None if self.happening is None else str(self.happening["happening_id"])

    def _end_happening(self, at_ms: Instant) -> None:
        if self.happening is None:
            return
        self.happening["ended_ms"] = at_ms
        if not any(state is State.RETURNED_UNACKNOWLEDGED for state in self.states.values()):
            self.happening["closed_ms"] = at_ms
        self.happenings[self.happening["happening_id"]] = self.happening
        self.happening = None

    # --- what is written ------------------------------------------------------------------------------------

    def _write(self, event: Event, happens: Happens, before: State, moved: Moved) -> None:
        self.states[event.key] = moved.to
        if event.change is not Change.DEEPENED:
            self.since[event.key] = event.at_ms
        self.moved.add(event.key)
        self.transitions.append(
            {
                "room_id": self.place.room["room_id"],
                "quantity": event.quantity.value,
                "side": event.side.value,
                "at_ms": event.at_ms,
                "happens": happens.value,
                "from_state": before.value,
                "to_state": moved.to.value,
                "decided_ms": self.now_ms,
                "who": BY_RULE,
                "happening_id": self._present,
                "facts": json.dumps({"value": event.value, "worst": event.worst, "began_ms": event.began_ms}),
            }
        )

    def _notice_trouble(self, event: Event, tells: Tells, *, learned_late: bool) -> None:
        if self.happening is None or event.judged_by is None:
            return
        may_wake = event.judged_by.crop.wakes and not learned_late
        woke, deep = bool(self.happening["woke"]), tells is Tells.DEEPER or event.deepened
        wake = may_wake and (not woke or (deep and self._may_speak_of_depth(event)))
        kind = _kind(tells, woke=woke, wake=wake)
        if wake:
            self.happening["woke"] = 1
        facts = {**trouble_facts(event, self.place, event.judged_by), "learned_late": learned_late, "deep": deep}
        if wake and deep:
            self.far_told[event.key] = event.at_ms
        if self.now_ms - event.at_ms > LATE_MS and event.quantity not in self.heard:
            facts["tell_from_ms"] = self.now_ms + REST_MS
        self._notice(kind, "wake" if wake else "round", event, facts, happening_id=self._present)

    def _may_speak_of_depth(self, event: Event) -> bool:
        last_ms = self.far_told.get(event.key)
        return last_ms is None or event.at_ms - last_ms >= FAR_AGAIN_MS

    def _notice(
        self, kind: str, telling: str, event: Event, facts: Mapping[str, Any], *, happening_id: str | None
    ) -> None:
        room_id = self.place.room["room_id"]
        self.notices.append(
            {
                "notice_key": f"{room_id}/{event.quantity.value}/{event.side.value}/{kind}/{event.at_ms}",
                "kind": kind,
                "telling": telling,
                "room_id": room_id,
                "happening_id": happening_id,
                "at_ms": event.at_ms,
                "decided_ms": self.now_ms,
                "use_by_ms": self.now_ms + USE_BY_MS,
                "facts": dict(facts),
            }
        )


def _happens(event: Event, before: State) -> Happens | None:
    """What an event is called in the life of an alarm; ``None`` when it means nothing to it in this state."""
    match event.change:
        case Change.RAISED:
            return when_beyond(before)
        case Change.DEEPENED | Change.CLEARED:
            return _SAME[event.change] if before in OPEN else None
        case Change.HELD:
            left = event.hold is not None and event.hold.why is Why.LEFT
            happens = Happens.SHELVED if left else Happens.SUPPRESSED
            return happens if before not in _HELD_BACK else None
        case Change.RELEASED:
            return _HELD_BACK.get(before)


def _kind(tells: Tells, *, woke: bool, wake: bool) -> str:
    """What a notice of trouble is: the first that is heard of it, the same only worse, or one more limit."""
    if tells is Tells.TROUBLE:
        return "trouble" if not woke else "deeper" if wake else "also"
    return "trouble" if wake and not woke else "deeper"
