"""How many readings a second are judged, beside a bare loop that compares each of them with one limit.

The readings are those of the invented farm over twelve hours, with a humidifier that stops in one of its rooms.
One evaluation is one reading through all limits of its room, with state.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Final

import pytest

from rules.evaluate import evaluate
from rules.event import Change, Event
from rules.limits import Crop, RoomLimits, tenderest
from rules.model import HOUR_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from rules.profile_parser import parse_profile
from rules.room_state import RoomState, from_plain, to_plain
from simulator import books, farm
from simulator.faults import Fault, FaultBook, FaultKind
from simulator.world import World
from tests.support.figures import quickest, show

pytestmark = pytest.mark.pure

HOURS: Final = 12
START_MS: Final = farm.DEMO_EVENING_MS
END_MS: Final = START_MS + HOURS * HOUR_MS
PROFILES: Final = Path(__file__).parents[2] / "rules" / "profiles"


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A room's limits and its readings, in order of time."""

    limits: RoomLimits
    readings: list[Reading]

    def unjudged(self) -> RoomState:
        return RoomState(clock_ms=START_MS - SECOND_MS)

    def portions(self) -> Iterator[tuple[Instant, list[Reading]]]:
        """What a probe sends at once, one after another."""
        for at_ms, group in groupby(self.readings, key=lambda r: r.at_ms):
            yield at_ms, list(group)


def in_one_go(rooms: list[Room]) -> list[Event]:
    """As after a long gap: all readings of a room at once."""
    return [
        event
        for room in rooms
        for event in evaluate(room.unjudged(), schedule=(room.limits,), readings=room.readings, until_ms=END_MS)[1]
    ]


def as_they_come(rooms: list[Room], *, written: bool = False) -> list[Event]:
    """Each pack judged by itself; ``written``: and the state written down and read back between two."""
    events: list[Event] = []
    for room in rooms:
        state = room.unjudged()
        for at_ms, readings in room.portions():
            if written:
                state = from_plain(json.loads(json.dumps(to_plain(state))))
            state, new = evaluate(state, schedule=(room.limits,), readings=readings, until_ms=at_ms)
            events += new
        events += evaluate(state, schedule=(room.limits,), readings=(), until_ms=END_MS)[1]
    return events


def compared(rooms: list[Room]) -> int:
    """The yardstick: one limit, no state, no time."""
    beyond = 0
    for room in rooms:
        for reading in room.readings:
            if reading.value < 85.0:
                beyond += 1
    return beyond


def test_judging() -> None:
    rooms = _demo_rooms()
    count = sum(len(room.readings) for room in rooms)
    bare, *judged = quickest(
        [
            ("compare with one limit", count, partial(compared, rooms)),
            ("judge in one go", count, partial(in_one_go, rooms)),
            ("judge pack by pack", count, partial(as_they_come, rooms)),
            ("judge pack by pack, state kept as JSON", count, partial(as_they_come, rooms, written=True)),
        ]
    )
    show(f"Judging {count} readings of {len(rooms)} rooms", [bare, *judged], against=bare, each="readings")

    events = in_one_go(rooms)
    assert events == as_they_come(rooms) == as_they_come(rooms, written=True)
    assert Change.RAISED in {event.change for event in events}


def _demo_rooms() -> list[Room]:
    stops = Fault(
        kind=FaultKind.HUMIDIFIER, target="house-1", start_ms=START_MS + HOUR_MS, end_ms=START_MS + 3 * HOUR_MS
    )
    measured = World(first_reading_ms=START_MS, faults=FaultBook((stops,))).advance(END_MS)
    room_of = {probe.probe_id: probe.room_id for probe in farm.PROBES}
    readings: dict[str, list[Reading]] = {}
    for m in measured:
        reading = Reading(probe=ProbeId(m.probe_id), quantity=Quantity(m.quantity), at_ms=m.at_ms, value=m.value)
        readings.setdefault(room_of[m.probe_id], []).append(reading)
    return [Room(limits=_limits(batch), readings=readings[batch.room_id]) for batch in books.BATCHES]


def _limits(batch: books.Batch) -> RoomLimits:
    file = PROFILES / f"{batch.profile}.toml"
    profile = parse_profile(file.read_text(encoding="utf-8"), file=file.name)
    stage, since_ms = profile.stage(batch.stage), START_MS - round(batch.since_hours * HOUR_MS)
    crop = Crop(batch=batch.batch_id, profile=profile, stage=stage, stage_since_ms=since_ms, wakes=True)
    return tenderest([crop], from_ms=since_ms)
