"""The live path and replay agree: the same moves at the same moments for readings no later than the settling time.

The live path is played as the service walks it: readings arrive in packs, late, twice and out of order; whenever
somebody judges, all that is recorded by then is judged up to a settling time ago. Readings older than what is
judged are judged again in hindsight; then what was told stays told, and history and the present agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from random import Random
from typing import Final, TypeAlias

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.evaluate import evaluate
from rules.event import Event
from rules.exposure import BandFrom, exposure
from rules.hindsight import judge_again, window_from
from rules.limits import Key, RoomLimits
from rules.model import MINUTE_MS, SECOND_MS, Instant, Quantity, Reading
from rules.replay import replay
from rules.room_state import RoomState
from tests.support.histories import END_MS, as_history, histories, schedules
from tests.support.rooms import START_MS, unjudged
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

SETTLE_MS: Final = 15 * SECOND_MS
Move: TypeAlias = tuple[Key, str, Instant]


@dataclass(slots=True)
class Live:
    """A room as the service has it: what is recorded, how far it is judged, and what came of it."""

    schedule: Sequence[RoomLimits]
    state: RoomState = field(default_factory=unjudged)
    recorded: dict[tuple[str, Quantity, Instant], Reading] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    again_from_ms: Instant | None = None

    def record(self, readings: Sequence[Reading]) -> None:
        """What is there already stays; what is new and older than what is judged is noted."""
        for reading in readings:
            identity = (reading.probe, reading.quantity, reading.at_ms)
            if identity not in self.recorded:
                self.recorded[identity] = reading
                if reading.at_ms <= self.state.clock_ms:
                    self.again_from_ms = min(reading.at_ms, self.again_from_ms or reading.at_ms)

    def judge(self, now_ms: Instant) -> None:
        """As ``service.watch.judge`` does it, without a database."""
        until_ms = max(min(now_ms - SETTLE_MS, END_MS), self.state.clock_ms)
        known = list(self.recorded.values())
        if self.again_from_ms is not None:
            from_ms = window_from(self.state, self.again_from_ms)
            self.state, owed = judge_again(self.state, from_ms=from_ms, schedule=self.schedule, readings=known)
            self.events += owed
            self.again_from_ms = None
        self.state, new = evaluate(self.state, schedule=self.schedule, readings=known, until_ms=until_ms)
        self.events += new


def lived(readings: Sequence[Reading], schedule: Sequence[RoomLimits], chance: Random, *, longest_ms: int) -> Live:
    """Each reading is up to so long under way; packs of any size are recorded, and judged or left to the sweep."""
    live = Live(schedule)
    for now_ms, pack in _packs(readings, chance, longest_ms):
        live.record(pack)
        if chance.random() < 0.5:
            live.judge(now_ms)
    live.judge(END_MS + SETTLE_MS + longest_ms)
    return live


def _packs(
    readings: Sequence[Reading], chance: Random, longest_ms: int
) -> Iterator[tuple[Instant, list[Reading]]]:
    arrivals = sorted(((r.at_ms + chance.randrange(longest_ms), n, r) for n, r in enumerate(readings)), key=_when)
    start = 0
    while start < len(arrivals):
        end = start + chance.choice([1, 1, 3, 20, 200])
        pack = arrivals[start:end]
        again = chance.sample(arrivals[:end], min(3, start))
        yield pack[-1][0], [reading for *_, reading in [*pack, *again]]
        start = end


def _when(arrival: tuple[Instant, int, Reading]) -> tuple[Instant, int]:
    return arrival[:2]


def once(readings: Sequence[Reading]) -> list[Reading]:
    """The first of each identity, as storage keeps it."""
    kept: dict[tuple[str, Quantity, Instant], Reading] = {}
    for reading in readings:
        kept.setdefault((reading.probe, reading.quantity, reading.at_ms), reading)
    return list(kept.values())


def moves(events: Sequence[Event]) -> list[Move]:
    return sorted((event.key, event.change.value, event.at_ms) for event in events)


@settings(STEADY, max_examples=40)
@given(histories(), schedules(), st.randoms(use_true_random=False))
def test_within_the_settling_time_live_is_replay(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], chance: Random
) -> None:
    tidy = once(readings)
    live = lived(tidy, schedule, chance, longest_ms=SETTLE_MS)
    state, events = replay(as_history(tidy), schedule=schedule, until_ms=END_MS, state=unjudged())

    assert moves(live.events) == moves(events)
    assert live.events == list(events)
    assert (live.state.held, told(live.state)) == (state.held, told(state))


@settings(STEADY, max_examples=40)
@given(histories(), schedules(), st.randoms(use_true_random=False), st.sampled_from([2, 20, 90]))
def test_later_than_that_the_stretches_are_the_same(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], chance: Random, minutes: int
) -> None:
    tidy = once(readings)
    live = lived(tidy, schedule, chance, longest_ms=minutes * MINUTE_MS)

    for quantity, band in BANDS.items():
        of_live, of_tidy = (
            exposure([r for r in some if r.quantity is quantity], bands=[band], from_ms=START_MS, to_ms=END_MS)
            for some in (live.recorded.values(), tidy)
        )
        assert of_live == of_tidy


@settings(STEADY, max_examples=40)
@given(histories(), schedules(), st.randoms(use_true_random=False), st.sampled_from([2, 20, 90]))
def test_later_than_that_the_present_is_the_same(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], chance: Random, minutes: int
) -> None:
    """What should be open at the end is open, and nothing else, however late the readings came."""
    tidy = once(readings)
    live = lived(tidy, schedule, chance, longest_ms=minutes * MINUTE_MS)
    state, _ = replay(as_history(tidy), schedule=schedule, until_ms=END_MS, state=unjudged())

    assert newest(live.state) == newest(state)
    assert told(live.state) == told(state)


def told(state: RoomState) -> set[Key]:
    """The alarms that are open and not held back."""
    return {key for key, track in state.tracks.items() if track.is_told}


def newest(state: RoomState) -> dict[tuple[str, Quantity], tuple[Instant, float]]:
    """What was heard last. How long it holds is worked out from fewer readings when judged again."""
    return {key: (held.at_ms, held.value) for key, held in state.held.items()}


BANDS: Final = {
    Quantity.HUMIDITY: BandFrom(from_ms=START_MS, low=86, high=96.5),
    Quantity.TEMPERATURE: BandFrom(from_ms=START_MS, low=12, high=17.5),
    Quantity.CO2: BandFrom(from_ms=START_MS, high=1500),
}
