"""What a probe's history as arrays holds is what taking its readings one by one leaves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from rules.history import Line
from rules.model import Instant, Quantity
from rules.room_state import Held
from tests.support.rooms import DOOR_PROBE, minute

pytestmark = pytest.mark.pure

# Each minute's value comes eight times within four seconds, as bare numbers that had queued up do.
BURSTS = [minute(n) + 500 * m for n in range(20) for m in range(8)]
STEADY = [minute(n) for n in range(40)]


def _line(moments: Sequence[Instant], seed: Held | None) -> Line:
    at_ms = np.array(moments, dtype=np.int64)
    return Line(DOOR_PROBE, Quantity.HUMIDITY, at_ms, np.arange(at_ms.size, dtype=np.float64), seed)


def _one_by_one(moments: Sequence[Instant], seed: Held | None) -> Held | None:
    held = seed
    for number, at_ms in enumerate(moments):
        value = float(number)
        held = Held(value=value, at_ms=at_ms) if held is None else held.followed_by(value, at_ms)
    return held


@pytest.mark.parametrize("seed", [None, Held(value=90.0, at_ms=minute(-7), gaps_ms=(60_000, 400_000))])
@pytest.mark.parametrize("moments", [BURSTS, STEADY], ids=["bursts", "steady"])
@pytest.mark.parametrize("count", [0, 1, 2, 6, 7, 20, 40])
def test_what_is_held_after_some_readings_is_as_if_each_had_been_taken(
    moments: list[Instant], seed: Held | None, count: int
) -> None:
    assert _line(moments, seed).after(count) == _one_by_one(moments[:count], seed)
