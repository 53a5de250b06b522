"""However the readings arrive and whenever somebody looks, a room is judged the same.

Nothing outside the project says what must come out; what is checked is that all ways to the same evening agree.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from random import Random
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.evaluate import evaluate
from rules.event import Change, Event
from rules.limits import Key, RoomLimits
from rules.model import MINUTE_MS, SECOND_MS, Instant, Quantity, Reading, Side
from rules.room_state import RoomState, from_plain, to_plain
from tests.support.rooms import (
    BACK_PROBE,
    DOOR_PROBE,
    HUMIDITY_HIGH,
    HUMIDITY_LOW,
    WARM,
    limits,
    minute,
    text_limit,
    unjudged,
)
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

SETTLE_MS: Final = 15 * SECOND_MS
LENGTH_MINUTES: Final = 60
END_MS: Final = minute(LENGTH_MINUTES)

PINS = {
    HUMIDITY_LOW: text_limit(85, wait=2, margin=2, recover=1, far=75, far_wait=1),
    HUMIDITY_HIGH: text_limit(97, wait=3, margin=1, recover=0),
    WARM: text_limit(18, wait=0, margin=0.5, recover=2),
}
REST = {HUMIDITY_LOW: text_limit(65, wait=2, margin=2, recover=1), WARM: text_limit(20, wait=4, margin=0.5)}
SCHEDULE: Final[tuple[RoomLimits, ...]] = (
    limits(PINS),
    limits(PINS, at=17.5),
    limits(REST, at=30, name="rest"),
    limits(PINS, at=48),
)

VALUES: Final = {
    Quantity.HUMIDITY: (60, 74.9, 75, 76, 84.9, 85, 86.9, 87, 90, 96, 97, 97.1),
    Quantity.TEMPERATURE: (17, 17.5, 17.6, 18, 18.1, 21),
}
SERIES: Final = [
    (DOOR_PROBE, Quantity.HUMIDITY),
    (BACK_PROBE, Quantity.HUMIDITY),
    (DOOR_PROBE, Quantity.TEMPERATURE),
]


@st.composite
def evenings(draw: st.DrawFn) -> list[Reading]:
    """An hour of a room: each series reports at its own interval, dwells on values, and is away now and then."""
    readings: list[Reading] = []
    for probe, quantity in SERIES:
        interval_s = draw(st.sampled_from([20, 45, 60, 150]))
        runs = draw(
            st.lists(st.tuples(st.sampled_from(VALUES[quantity]), st.integers(1, 12)), min_size=5, max_size=14)
        )
        away = draw(st.sets(st.integers(0, 60), max_size=12))
        values = [value for value, count in runs for _ in range(count)]
        offset_ms = draw(st.integers(0, 999))
        readings += [
            Reading(probe=probe, quantity=quantity, at_ms=at_ms, value=value)
            for index, value in enumerate(values)
            if index not in away and (at_ms := minute(0) + offset_ms + index * interval_s * SECOND_MS) <= END_MS
        ]
    return readings


def _once(readings: Iterable[Reading]) -> tuple[RoomState, tuple[Event, ...]]:
    return evaluate(unjudged(), schedule=SCHEDULE, readings=readings, until_ms=END_MS)


def _in_steps(
    steps: Iterable[tuple[Instant, Sequence[Reading]]], *, through_json: bool = False
) -> tuple[RoomState, tuple[Event, ...]]:
    state = unjudged()
    events: tuple[Event, ...] = ()
    for until_ms, readings in steps:
        state, new = evaluate(state, schedule=SCHEDULE, readings=readings, until_ms=until_ms)
        state = from_plain(json.loads(json.dumps(to_plain(state)))) if through_json else state
        events = (*events, *new)
    return state, events


@settings(STEADY)
@given(evenings(), st.lists(st.integers(0, LENGTH_MINUTES * MINUTE_MS), max_size=30))
def test_judging_in_portions_equals_judging_at_once(readings: list[Reading], cuts: list[int]) -> None:
    on_readings = [reading.at_ms for reading in readings[::7]]
    moments = sorted({*(minute(0) + cut for cut in cuts), *on_readings, END_MS})
    assert _in_steps((moment, readings) for moment in moments) == _once(readings)


@settings(STEADY)
@given(evenings(), st.integers(1, 3))
def test_the_state_can_be_written_down_between_any_two_portions(readings: list[Reading], every: int) -> None:
    steps = ((minute(count), readings) for count in range(0, LENGTH_MINUTES + 1, every))
    assert _in_steps([*steps, (END_MS, readings)], through_json=True) == _once(readings)


@settings(STEADY)
@given(evenings(), st.randoms(use_true_random=False))
def test_order_and_repetition_within_a_portion_do_not_matter(readings: list[Reading], chance: Random) -> None:
    mixed = [*readings, *chance.sample(readings, len(readings) // 2)]
    chance.shuffle(mixed)
    assert _once(mixed) == _once(readings)


@settings(STEADY)
@given(evenings())
def test_no_limit_is_raised_twice_without_an_end_between(readings: list[Reading]) -> None:
    state, events = _once(readings)
    open_now: set[Key] = set()
    for event in events:
        if event.change is Change.RAISED:
            assert event.key not in open_now
            open_now.add(event.key)
        else:
            assert event.key in open_now
            open_now -= {event.key} if event.change is Change.CLEARED else set()
    assert open_now == {key for key, track in state.tracks.items() if track.is_open}


@settings(STEADY)
@given(evenings())
def test_events_come_in_order_of_time_and_depth_is_told_once(readings: list[Reading]) -> None:
    _, events = _once(readings)
    assert all(before.at_ms <= after.at_ms for before, after in pairwise(events))
    for key in {event.key for event in events}:
        story = "".join(event.change.value[0] for event in events if event.key == key)
        assert "dd" not in story, story
    assert all(event.began_ms <= event.at_ms for event in events)


@settings(STEADY)
@given(evenings())
def test_an_alarm_says_what_its_side_of_the_limit_makes_of_the_readings(readings: list[Reading]) -> None:
    """The worst value told is one that was measured, and it is beyond the limit that raised the alarm."""
    _, events = _once(readings)
    measured = {(reading.quantity, reading.value) for reading in readings}
    for event in (e for e in events if e.change is Change.RAISED):
        assert event.worst is not None
        assert event.judged_by is not None
        assert (event.quantity, event.worst) in measured
        assert event.judged_by.near.is_beyond(event.worst)
        assert event.first_value is not None
        worse = event.worst <= event.first_value if event.side is Side.LOW else event.worst >= event.first_value
        assert worse


# --- readings on their way -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Arrival:
    """A reading and when it reached us."""

    reading: Reading
    arrived_ms: Instant


def _occasions(
    arrivals: Sequence[Arrival], *, batch: int, tick_ms: int
) -> Iterator[tuple[Instant, list[Reading]]]:
    """When somebody judges, and the readings recorded since the last time.

    Readings are recorded in the order in which they arrive: as soon as a batch is full, or at the sweep.
    """
    coming = deque(sorted(arrivals, key=lambda a: (a.arrived_ms, a.reading.at_ms, a.reading.probe)))
    for sweep_ms in range(minute(0), END_MS + SETTLE_MS + tick_ms, tick_ms):
        arrived: list[Arrival] = []
        while coming and coming[0].arrived_ms <= sweep_ms:
            arrived.append(coming.popleft())
            if len(arrived) == batch:
                yield arrived[-1].arrived_ms, [arrival.reading for arrival in arrived]
                arrived = []
        yield sweep_ms, [arrival.reading for arrival in arrived]


def _swept(arrivals: Sequence[Arrival], *, batch: int, tick_ms: int) -> tuple[RoomState, tuple[Event, ...]]:
    """Each time, judge up to a settling time ago with what is recorded and not yet judged."""
    state = unjudged()
    events: tuple[Event, ...] = ()
    recorded: list[Reading] = []
    for now_ms, new in _occasions(arrivals, batch=batch, tick_ms=tick_ms):
        recorded = [reading for reading in (*recorded, *new) if reading.at_ms > state.clock_ms]
        until_ms = min(now_ms - SETTLE_MS, END_MS)
        state, happened = evaluate(state, schedule=SCHEDULE, readings=recorded, until_ms=until_ms)
        events = (*events, *happened)
    return state, events


@st.composite
def _arrivals(draw: st.DrawFn) -> list[Arrival]:
    """An evening whose readings are each up to a settling time under way, and so overtake one another."""
    chance = draw(st.randoms(use_true_random=False))
    return [
        Arrival(reading=reading, arrived_ms=reading.at_ms + chance.randrange(SETTLE_MS))
        for reading in draw(evenings())
    ]


@pytest.mark.parametrize("batch", [1, 7, 500])
@pytest.mark.parametrize(("tick_s", "examples"), [(1, 4), (10, 20)])
def test_batches_sweeps_and_delays_within_the_settling_time_change_nothing(
    batch: int, tick_s: int, examples: int
) -> None:
    @settings(STEADY, max_examples=examples)
    @given(_arrivals())
    def judged_the_same(arrivals: list[Arrival]) -> None:
        tidy = _once(arrival.reading for arrival in arrivals)
        assert _swept(arrivals, batch=batch, tick_ms=tick_s * SECOND_MS) == tidy

    judged_the_same()


def test_a_reading_later_than_the_settling_time_is_why_there_is_one() -> None:
    """The same machinery does see a difference when there is one to see."""
    fall = [
        Reading(probe=DOOR_PROBE, quantity=Quantity.HUMIDITY, at_ms=minute(count), value=value)
        for count, value in enumerate([90, 80, 90, 80, 80, 80, 80, 80])
    ]
    late = [
        Arrival(reading=reading, arrived_ms=reading.at_ms + (5 * MINUTE_MS if reading.value > 85 else 0))
        for reading in fall
    ]
    tidy = _once(fall)
    assert _swept(late, batch=1, tick_ms=SECOND_MS) != tidy
    in_time = [Arrival(reading=reading, arrived_ms=reading.at_ms + SETTLE_MS - 1) for reading in fall]
    assert _swept(in_time, batch=1, tick_ms=SECOND_MS) == tidy
