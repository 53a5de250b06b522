"""Runs a scenario's night through the rules, and writes down what people would have heard.

The room is judged as the running service judges it: once a minute, a settling time behind the present, with the
readings that have come by then. What is told of an event is decided by the service's own story of a room, so
"text" here is exactly what wakes somebody there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from rules.alarm import Happens, State, move
from rules.evaluate import evaluate, standing
from rules.event import Change, Event
from rules.limits import Key
from rules.model import MINUTE_MS, Instant, ProbeId, Quantity, Reading, Side
from rules.people import PEOPLE_KEY
from rules.room_state import RoomState
from rules.schedule import schedule
from service.watch.facts import Place
from service.watch.judge import SETTLE_MS
from service.watch.story import Story
from tests.support.scenario_air import Arrival
from tests.support.scenario_clock import FarmClock
from tests.support.scenario_form import Scenario
from tests.support.scenario_people import PeopleWatch
from tests.support.scenario_room import ROOM, growing

_WORDS: Final[Mapping[tuple[str, str], str]] = {
    ("trouble", "wake"): "text",
    ("deeper", "wake"): "deeper",
    ("back", "wake"): "back",
    ("trouble", "round"): "on the sheet",
    ("also", "round"): "on the sheet",
    ("deeper", "round"): "deeper on the sheet",
    ("back", "round"): "back on the sheet",
    ("held", "round"): "held",
    ("danger", "danger"): "danger",
    ("people", "round"): "on the sheet",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One thing that came out."""

    at_ms: Instant
    what: str
    key: Key
    batch: str | None
    place: str | None
    value: float | None
    worst: float | None


@dataclass(slots=True)
class Night:
    """A night that was run."""

    heard: list[Heard] = field(default_factory=list)
    known_minutes: dict[Key, int] = field(default_factory=dict)
    """For how many minutes each limit was in force over a value that somebody could say."""


def run(scenario: Scenario, clock: FarmClock, arrivals: Sequence[Arrival]) -> Night:
    """Judge the whole night."""
    grown = growing(scenario, clock)
    limits = schedule(grown)
    people = PeopleWatch.of(scenario, clock, grown)
    ends_ms = clock.moment(scenario.night.ends)
    state = RoomState(clock_ms=clock.begins_ms - 1)
    story = _story(scenario, clock)
    night = Night()
    waiting: list[Reading] = []
    answers = _answers(scenario, clock)
    for now_ms, come in _occasions(arrivals, clock.begins_ms, ends_ms):
        waiting = [r for r in (*waiting, *come) if r.at_ms > state.clock_ms]
        placed = _placed(scenario, clock, now_ms)
        until_ms = min(now_ms - SETTLE_MS, ends_ms)
        state, events = evaluate(state, schedule=limits, readings=waiting, until_ms=until_ms, placed=placed)
        night.heard += [_of_notice(notice, None) for notice in people.look(now_ms, come, story.place.room)]
        story.now_ms = now_ms
        for event in events:
            night.heard += _heard(story, event)
        if story.has_woken_nobody:
            count = len(story.notices)
            story.owe(standing(state, schedule=limits, placed=placed))
            night.heard += [_of_notice(notice, None) for notice in story.notices[count:]]
        while answers and answers[0] <= now_ms:
            _answer(story, answers.pop(0))
        _count_known(night, state)
    return night


def _occasions(
    arrivals: Sequence[Arrival], begins_ms: Instant, ends_ms: Instant
) -> Iterator[tuple[Instant, list[Reading]]]:
    """Each minute of the night, with the readings that have come since the last one."""
    next_one = 0
    for now_ms in range(begins_ms, ends_ms + SETTLE_MS + MINUTE_MS, MINUTE_MS):
        first = next_one
        while next_one < len(arrivals) and arrivals[next_one].arrived_ms <= now_ms:
            next_one += 1
        yield now_ms, [arrival.reading for arrival in arrivals[first:next_one]]


def _placed(scenario: Scenario, clock: FarmClock, now_ms: Instant) -> frozenset[ProbeId]:
    return frozenset(
        _probe_id(number)
        for number, probe in enumerate(scenario.probe)
        if probe.taken_out is None or now_ms < clock.moment(probe.taken_out)
    )


def _probe_id(number: int) -> ProbeId:
    return ProbeId(f"probe {number}")


def _count_known(night: Night, state: RoomState) -> None:
    known = {quantity for (_, quantity), held in state.held.items() if not held.expired}
    for key in (*state.tracks, PEOPLE_KEY):
        if key[0] in known:
            night.known_minutes[key] = night.known_minutes.get(key, 0) + 1


# --- what is told ---------------------------------------------------------------------------------------------


def _story(scenario: Scenario, clock: FarmClock) -> Story:
    places = {str(_probe_id(number)): probe.place for number, probe in enumerate(scenario.probe)}
    room = {"room_id": ROOM, "text_name": "House", "kind": scenario.room.kind}
    place = Place(farm={"zone": clock.zone, "invented": 1}, room=room, probe_places=places)
    return Story(place=place, now_ms=clock.begins_ms, states={}, since={}, happening=None)


def _heard(story: Story, event: Event) -> Iterator[Heard]:
    count = len(story.notices)
    story.tell([event])
    for notice in story.notices[count:]:
        yield _of_notice(notice, event)


def _of_notice(notice: Mapping[str, Any], event: Event | None) -> Heard:
    """A notice in the words of a scenario."""
    told, facts = (notice["kind"], notice["telling"]), notice["facts"]
    what = _WORDS.get(told, " ".join(told))
    if event is not None and event.change is Change.RELEASED:
        what = {"text": "text when the hold ends", "on the sheet": "sheet when the hold ends"}.get(what, what)
    key = (Quantity(facts["quantity"]), Side(facts["side"]))
    return Heard(
        at_ms=notice["at_ms"],
        what=what,
        key=key,
        batch=facts.get("batch"),
        place=facts.get("place"),
        value=facts.get("value"),
        worst=None if event is None else event.worst,
    )


def _answers(scenario: Scenario, clock: FarmClock) -> list[Instant]:
    return sorted(clock.moment(act.at) for act in scenario.people if act.does == "is going")


def _answer(story: Story, _at_ms: Instant) -> None:
    for key, state in story.states.items():
        if state is State.UNACKNOWLEDGED:
            story.states[key] = move(state, Happens.ACKNOWLEDGED).to
