"""Replaying history gives exactly what judging it reading by reading gives.

Nothing outside the project says what must come out: the check is the fold itself, over random histories.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.condition import Phase
from rules.evaluate import evaluate
from rules.event import Change
from rules.history import History
from rules.limits import RoomLimits
from rules.model import MINUTE_MS, SECOND_MS, Instant, Quantity, Reading
from rules.replay import replay
from rules.room_state import RoomState, Track
from tests.support.histories import END_MS, LENGTH_MINUTES, PINS, as_history, histories, schedules
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
