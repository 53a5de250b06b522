"""Random histories of a room, as arrays and as readings: gaps, silences, doubles, probes that come late or leave.

All figures are made up. Values dwell where the limits of :data:`SCHEDULES` are, so that every comparison is met.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from hypothesis import strategies as st

from rules.history import History
from rules.limits import Hold, Key, RoomLimits, Why, tenderest
from rules.model import MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from rules.profile import Fast, TextLimit
from tests.support.rooms import (
    BACK_PROBE,
    CO2_HIGH,
    COLD,
    DOOR_PROBE,
    HUMIDITY_HIGH,
    HUMIDITY_LOW,
    WARM,
    crop,
    minute,
    text_limit,
)

LENGTH_MINUTES: Final = 240
END_MS: Final = minute(LENGTH_MINUTES)

VALUES: Final = {
    Quantity.HUMIDITY: (60, 74.9, 75, 76, 79, 84.9, 85, 86.9, 87, 90, 92, 96, 97, 97.1, 99),
    Quantity.TEMPERATURE: (11, 12, 12.5, 17, 17.5, 17.6, 18, 18.1, 21),
    Quantity.CO2: (800, 1500, 1501),
}
SERIES: Final = (
    (DOOR_PROBE, Quantity.HUMIDITY),
    (BACK_PROBE, Quantity.HUMIDITY),
    (DOOR_PROBE, Quantity.TEMPERATURE),
    (BACK_PROBE, Quantity.CO2),
)
FAST: Final = Fast(change=8, within_ms=10 * MINUTE_MS, wait_ms=90 * SECOND_MS)

PINS: Final[dict[Key, TextLimit]] = {
    HUMIDITY_LOW: replace(text_limit(85, wait=4, margin=2, recover=2, far=75, far_wait=1), fast=FAST),
    HUMIDITY_HIGH: text_limit(97, wait=3, margin=1, recover=0),
    WARM: text_limit(18, wait=0, margin=0.5, recover=2),
}
TIGHT: Final[dict[Key, TextLimit]] = {
    HUMIDITY_LOW: replace(text_limit(90, wait=2, margin=2, recover=1, far=80, far_wait=1), fast=FAST),
    HUMIDITY_HIGH: text_limit(97, wait=3, margin=1, recover=0),
    WARM: text_limit(17.5, wait=1, margin=0.5, recover=2),
}
SLOW: Final[dict[Key, TextLimit]] = {HUMIDITY_LOW: text_limit(85, wait=4, margin=2, recover=2)}
REST: Final[dict[Key, TextLimit]] = {
    HUMIDITY_LOW: text_limit(65, wait=2, margin=2, recover=1),
    WARM: text_limit(20, wait=4, margin=0.5),
    COLD: text_limit(12, wait=10, margin=0.5, far=11.5, far_wait=3),
    CO2_HIGH: text_limit(1500, wait=5, margin=50),
}
ODD: Final[dict[Key, TextLimit]] = {
    HUMIDITY_LOW: text_limit(75, wait=2, margin=2, recover=1, far=85, far_wait=6),
    HUMIDITY_HIGH: text_limit(96, wait=1, margin=10, recover=1),
}
"""A far limit nearer than the near one: nobody writes that, but a limit that is tried out may come to be so."""
SOMETHING: Final[tuple[dict[Key, TextLimit], ...]] = (PINS, TIGHT, SLOW, REST, ODD, {})


@st.composite
def schedules(draw: st.DrawFn) -> tuple[RoomLimits, ...]:
    """What grows changes now and then, and limits are held back; the first holds since ever, or from later on."""
    first = draw(st.sampled_from([0, 0, 0, minute(3)]))
    cuts = draw(st.sets(st.integers(4, LENGTH_MINUTES), max_size=6))
    moments = [first, *(minute(cut) for cut in sorted(cuts))]
    return tuple(_limits(draw, at_ms) for at_ms in moments)


def _limits(draw: st.DrawFn, at_ms: Instant) -> RoomLimits:
    grown = draw(st.sampled_from(SOMETHING))
    hold = Hold(why=draw(st.sampled_from(Why)), from_ms=at_ms, until_ms=at_ms + 1, who="Ines")
    held = draw(st.sets(st.sampled_from([HUMIDITY_LOW, WARM]))) if draw(st.integers(0, 2)) == 0 else set()
    return tenderest([crop(grown)], from_ms=at_ms, holds=dict.fromkeys(held, hold))


@st.composite
def series(draw: st.DrawFn, probe: ProbeId, quantity: Quantity) -> list[Reading]:
    """One probe dwells on values, reports at its own interval, and is away now and then."""
    interval_ms = draw(st.sampled_from([3, 10, 20, 45, 60, 150, 400])) * SECOND_MS
    dwells = draw(
        st.lists(
            st.tuples(st.sampled_from(VALUES[quantity]), st.integers(1, 40), st.integers(0, 3)),
            min_size=1,
            max_size=25,
        )
    )
    start_ms = minute(draw(st.sampled_from([0, 0, 0, 30]))) + draw(st.integers(0, 999))
    jitter_ms = draw(st.sampled_from([0, 0, 700, 2 * interval_ms]))
    chance = draw(st.randoms(use_true_random=False))
    found: list[Reading] = []
    for value, count, pause in dwells:
        start_ms += pause * draw(st.sampled_from([0, 0, 2, 7])) * interval_ms
        for _ in range(count):
            start_ms += interval_ms
            at_ms = start_ms + (chance.randrange(jitter_ms) if jitter_ms else 0)
            if at_ms <= END_MS + MINUTE_MS:
                found.append(Reading(probe=probe, quantity=quantity, at_ms=at_ms, value=value))
    return found


@st.composite
def histories(draw: st.DrawFn) -> list[Reading]:
    """A few hours of a room with several probes, in no order, some readings twice and some with another value."""
    chance = draw(st.randoms(use_true_random=False))
    present = draw(st.sets(st.sampled_from(SERIES), min_size=1))
    readings = [reading for one in SERIES if one in present for reading in draw(series(*one))]
    if draw(st.booleans()):
        again = chance.sample(readings, len(readings) // 3)
        other = [_contradicted(one, chance.choice(VALUES[one.quantity])) for one in again[:5]]
        readings = [*readings, *again, *other]
        chance.shuffle(readings)
    return readings


def _contradicted(reading: Reading, value: float) -> Reading:
    return Reading(probe=reading.probe, quantity=reading.quantity, at_ms=reading.at_ms, value=value)


def as_history(readings: Iterable[Reading]) -> list[History]:
    """The same as arrays, one for each probe and quantity, each in the order given."""
    found: dict[tuple[ProbeId, Quantity], list[Reading]] = {}
    for reading in readings:
        found.setdefault((reading.probe, reading.quantity), []).append(reading)
    return [history(probe, quantity, group) for (probe, quantity), group in found.items()]


def history(probe: ProbeId, quantity: Quantity, readings: Sequence[Reading]) -> History:
    return History(
        probe=probe,
        quantity=quantity,
        at_ms=np.array([r.at_ms for r in readings], dtype=np.int64),
        value=np.array([r.value for r in readings], dtype=np.float64),
    )
