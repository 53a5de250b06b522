"""Replaying history gives exactly what judging it reading by reading gives.

Nothing outside the project says what must come out: the check is the fold itself, over random histories.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.condition import Phase
from rules.evaluate import evaluate
from rules.event import Change, Event
from rules.history import History
from rules.limits import RoomLimits
from rules.model import MINUTE_MS, Instant, ProbeId, Quantity, Reading
from rules.replay import replay
from rules.room_state import RoomState, Track
from tests.support.histories import (
    END_MS,
    LENGTH_MINUTES,
    PINS,
    TIGHT,
    VALUES,
    as_history,
    histories,
    schedules,
)
from tests.support.rooms import BACK_PROBE, DOOR_PROBE, START_MS, limits, minute, moves, unjudged
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure


def that_matters(state: RoomState) -> RoomState:
    """Without what only says how long nothing has been the matter, and when to look again."""
    return replace(state, next_ms=0, tracks={key: _that_matters(track) for key, track in state.tracks.items()})


def _that_matters(track: Track) -> Track:
    far = replace(track.far, since_ms=0) if track.far.phase is Phase.INSIDE else track.far
    if track.near.phase is not Phase.INSIDE or track.held:
        return replace(track, far=far)
    return replace(track, near=replace(track.near, since_ms=0), far=far)


@settings(STEADY, max_examples=150)
@given(histories(), schedules())
def test_replay_is_the_fold(readings: list[Reading], schedule: tuple[RoomLimits, ...]) -> None:
    state, events = evaluate(unjudged(), schedule=schedule, readings=readings, until_ms=END_MS)
    again, replayed = replay(as_history(readings), schedule=schedule, until_ms=END_MS, state=unjudged())

    assert replayed == events
    assert that_matters(again) == that_matters(state)


@settings(STEADY)
@given(
    histories(),
    schedules(),
    st.integers(0, LENGTH_MINUTES * MINUTE_MS),
    st.sampled_from([None, frozenset({DOOR_PROBE})]),
)
def test_a_room_judged_so_far_is_replayed_from_there(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], cut: int, placed: frozenset[ProbeId] | None
) -> None:
    """Whatever was going on at the cut, and whether or not a probe was taken out of the room then."""
    begun, _ = evaluate(unjudged(), schedule=schedule, readings=readings, until_ms=START_MS + cut)
    left = [reading for reading in readings if placed is None or reading.probe in placed]

    state, events = evaluate(begun, schedule=schedule, readings=left, until_ms=END_MS, placed=placed)
    again, replayed = replay(as_history(left), schedule=schedule, until_ms=END_MS, state=begun, placed=placed)

    assert replayed == events
    assert that_matters(again) == that_matters(state)


@settings(STEADY)
@given(histories(), schedules(), st.lists(st.integers(0, LENGTH_MINUTES), max_size=4))
def test_replay_in_portions_is_replay_at_once(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], cuts: list[int]
) -> None:
    state = unjudged()
    events: tuple[Event, ...] = ()
    for until_ms in [*(minute(cut) for cut in sorted(cuts)), END_MS]:
        state, new = replay(as_history(readings), schedule=schedule, until_ms=until_ms, state=state)
        events = (*events, *new)
    again, replayed = replay(as_history(readings), schedule=schedule, until_ms=END_MS, state=unjudged())

    assert events == replayed
    assert that_matters(state) == that_matters(again)


@settings(STEADY)
@given(histories(), schedules())
def test_history_in_pieces_is_the_same_history(readings: list[Reading], schedule: tuple[RoomLimits, ...]) -> None:
    """A probe that was hung up twice has two pieces; which comes first matters only where they contradict."""
    once = {(r.probe, r.quantity, r.at_ms): r for r in readings}
    tidy = list(once.values())
    pieces = [*as_history(tidy[::3]), *as_history(tidy[1::3]), *as_history(tidy[2::3])]

    assert (
        replay(pieces, schedule=schedule, until_ms=END_MS)[1]
        == (replay(as_history(tidy), schedule=schedule, until_ms=END_MS)[1])
    )


def test_a_long_history_is_the_fold_as_well() -> None:
    """Many blocks of readings, most of them quiet; hours of each kind of trouble between."""
    chance = np.random.default_rng(3)
    at_ms = START_MS + 5000 * np.arange(20_000, dtype=np.int64)
    value = 91 + chance.normal(0, 0.5, at_ms.size) - np.clip((np.arange(at_ms.size) % 7000 - 6500) / 10, 0, 18)
    long = History(
        probe=DOOR_PROBE, quantity=Quantity.HUMIDITY, at_ms=at_ms, value=np.round(value, 1).astype(np.float64)
    )
    until_ms = int(at_ms[-1])
    readings = [
        Reading(probe=DOOR_PROBE, quantity=Quantity.HUMIDITY, at_ms=at, value=v)
        for at, v in zip(long.at_ms.tolist(), long.value.tolist(), strict=True)
    ]
    schedule = (limits(PINS), limits(PINS, at=300), limits(PINS, at=301))
    state, events = evaluate(unjudged(), schedule=schedule, readings=readings, until_ms=until_ms)
    again, replayed = replay([long], schedule=schedule, until_ms=until_ms, state=unjudged())

    assert replayed == events
    assert that_matters(again) == that_matters(state)
    assert {Change.RAISED, Change.DEEPENED, Change.CLEARED} == {event.change for event in events}


@pytest.mark.parametrize("seed", range(24))
def test_a_restless_history_is_the_fold_as_well(seed: int) -> None:
    """Two probes that jump about the limits, at odd moments; the same ones in every run."""
    chance = np.random.default_rng(seed)
    lines = []
    for probe in (DOOR_PROBE, BACK_PROBE):
        gaps = chance.choice([1, 2, 1000, 20_000, 60_000, 200_000], size=60)
        at_ms = (START_MS + np.cumsum(gaps)).astype(np.int64)
        value = chance.choice(np.array(VALUES[Quantity.HUMIDITY], dtype=np.float64), size=60)
        lines.append(History(probe=probe, quantity=Quantity.HUMIDITY, at_ms=at_ms, value=value))
    readings = [
        Reading(probe=line.probe, quantity=line.quantity, at_ms=at, value=v)
        for line in lines
        for at, v in zip(line.at_ms.tolist(), line.value.tolist(), strict=True)
    ]
    schedule = (limits(PINS), limits(TIGHT, at=30), limits(PINS, at=31))
    state, events = evaluate(unjudged(), schedule=schedule, readings=readings, until_ms=END_MS)
    again, replayed = replay(lines, schedule=schedule, until_ms=END_MS, state=unjudged())
    assert replayed == events
    assert that_matters(again) == that_matters(state)


# --- what the random histories meet ---------------------------------------------------------------------------


def test_the_random_histories_meet_every_kind_of_change() -> None:
    """Which examples come depends on what else is imported: hence so many, looked at until all were met."""
    met: set[Change] = set()

    @settings(STEADY, max_examples=400)
    @given(histories(), schedules())
    def look(readings: list[Reading], schedule: tuple[RoomLimits, ...]) -> None:
        if met != set(Change):
            met.update(e.change for e in replay(as_history(readings), schedule=schedule, until_ms=END_MS)[1])

    look()
    assert met == set(Change)


# --- edges ----------------------------------------------------------------------------------------------------


def of_door(at_ms: Sequence[Instant], value: Sequence[float]) -> History:
    return History(
        probe=DOOR_PROBE,
        quantity=Quantity.HUMIDITY,
        at_ms=np.array(at_ms, dtype=np.int64),
        value=np.array(value, dtype=np.float64),
    )


def test_without_history_or_schedule_nothing_happens() -> None:
    state, events = replay([], schedule=(), until_ms=END_MS)
    assert (state.clock_ms, dict(state.held), dict(state.tracks), events) == (END_MS, {}, {}, ())
    assert replay([of_door([], [])], schedule=(limits(PINS),), until_ms=END_MS)[1] == ()


def test_a_room_judged_further_already_stays_as_it_is() -> None:
    state = RoomState(clock_ms=END_MS)
    assert replay([of_door([START_MS], [60.0])], schedule=(limits(PINS),), until_ms=END_MS, state=state) == (
        state,
        (),
    )


def test_readings_up_to_where_the_room_is_judged_are_not_taken_again() -> None:
    dry = of_door([minute(n) for n in range(20)], [60.0] * 20)
    state, events = replay(
        [dry], schedule=(limits(PINS),), until_ms=minute(10), state=RoomState(clock_ms=minute(4))
    )
    assert moves(events) == [("raised", 6.0)]
    assert state.held[DOOR_PROBE, Quantity.HUMIDITY].at_ms == minute(10)


def test_a_dip_is_told_at_the_minute_at_which_its_wait_is_over() -> None:
    """Below 85 from minute 100 to 120; told after 4 minutes, over 2 minutes after it is back at 87."""
    values = [90.0] * 100 + [84.0] * 20 + [90.0] * 30
    dip = of_door([minute(n) for n in range(150)], values)
    assert moves(replay([dip], schedule=(limits(PINS),), until_ms=END_MS)[1]) == [
        ("raised", 104),
        ("cleared", 122),
    ]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_value_that_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="not a finite number"):
        replay([of_door([minute(0), minute(1)], [90.0, value])], schedule=(limits(PINS),), until_ms=END_MS)


@pytest.mark.parametrize("at_ms", [-1, 253_402_300_800_000])
def test_a_moment_that_no_reading_can_have_is_refused(at_ms: int) -> None:
    with pytest.raises(ValueError, match="outside 1970 to 9999"):
        replay([of_door([minute(0), at_ms], [90.0, 90.0])], schedule=(limits(PINS),), until_ms=END_MS)


def test_arrays_that_do_not_belong_together_are_refused() -> None:
    with pytest.raises(ValueError, match="do not belong together"):
        of_door([minute(0), minute(1)], [90.0])
    with pytest.raises(ValueError, match="do not belong together"):
        History(
            probe=BACK_PROBE,
            quantity=Quantity.CO2,
            at_ms=np.zeros((2, 2), dtype=np.int64),
            value=np.zeros((2, 2), dtype=np.float64),
        )
