"""What is known between readings: small cases laid out by hand, and held to how a room is judged."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.holding import Change, Step, room_steps, spoken
from rules.model import MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from rules.room_state import Held
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

START: Instant = 1_000 * MINUTE_MS
DOOR = ProbeId("door")


def minute(count: float) -> Instant:
    return START + round(count * MINUTE_MS)


def reading(at: float, value: float, *, probe: str = "door") -> Reading:
    return Reading(probe=ProbeId(probe), quantity=Quantity.HUMIDITY, at_ms=minute(at), value=value)


def test_a_value_stands_until_the_next_or_three_usual_intervals() -> None:
    """Every 2 min, so nobody can say from 6 min after the last; the first alone would have stood for 15."""
    readings = [reading(0, 90), reading(2, 91), reading(4, 92), reading(30, 93)]

    assert spoken(readings) == {
        DOOR: [
            (minute(0), 90),
            (minute(2), 91),
            (minute(4), 92),
            (minute(10), None),
            (minute(30), 93),
            (minute(36), None),
        ]
    }


def test_a_room_is_cut_wherever_a_probe_changes_what_it_says() -> None:
    said = spoken([reading(0, 90), reading(4, 80), reading(2, 95, probe="back")])

    assert room_steps(said.values(), from_ms=minute(0), to_ms=minute(18)) == [
        Step(minute(0), minute(2), 90, 90),
        Step(minute(2), minute(4), 90, 95),
        Step(minute(4), minute(16), 80, 95),
        Step(minute(16), minute(17), 95, 95),
        Step(minute(17), minute(18), None, None),
    ]


def test_without_readings_a_span_is_one_unknown_step() -> None:
    assert room_steps([], from_ms=3, to_ms=9) == [Step(3, 9, None, None)]


def test_what_comes_after_the_span_leaves_no_mark() -> None:
    said = spoken([reading(0, 90), reading(5, 91), reading(6, 92)])

    assert room_steps(said.values(), from_ms=minute(0), to_ms=minute(5)) == [Step(minute(0), minute(5), 90, 90)]


def test_several_quantities_at_once_are_refused() -> None:
    other = Reading(probe=DOOR, quantity=Quantity.CO2, at_ms=minute(1), value=800)

    with pytest.raises(ValueError, match="several quantities"):
        spoken([reading(0, 90), other])


def test_a_span_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="ends after it begins"):
        room_steps([], from_ms=5, to_ms=5)


MOMENTS = st.lists(
    st.one_of(
        st.integers(0, 90).map(minute),
        st.integers(0, 3600).map(lambda n: START + n * SECOND_MS),
        st.integers(0, 40).map(lambda n: START + n * 10 * SECOND_MS),
    ),
    max_size=40,
    unique=True,
)


@STEADY
@given(moments=MOMENTS)
def test_a_probe_is_held_exactly_as_long_as_a_room_is_judged_by_it(moments: list[Instant]) -> None:
    """The judging of a room goes from reading to reading; this goes over a whole night at once."""
    readings = [
        Reading(probe=DOOR, quantity=Quantity.HUMIDITY, at_ms=at_ms, value=float(number % 7))
        for number, at_ms in enumerate(moments)
    ]

    assert spoken(readings).get(DOOR, []) == _as_judged(sorted(readings, key=lambda r: r.at_ms))


def _as_judged(readings: list[Reading]) -> list[Change]:
    held: list[Held] = []
    for r in readings:
        held.append(held[-1].followed_by(r.value, r.at_ms) if held else Held(value=r.value, at_ms=r.at_ms))
    found: list[Change] = []
    for now, later in pairwise([*held, None]):
        assert now is not None
        found.append((now.at_ms, now.value))
        if later is None or now.until_ms < later.at_ms:
            found.append((now.until_ms, None))
    return found


def test_two_readings_within_five_seconds_are_one_report() -> None:
    """Gaps of 2 min and of 1:57, and 3 s that count for nothing: held for three times the lesser."""
    readings = [reading(0, 90), reading(2, 91), reading(2.05, 91), reading(4, 92)]

    assert spoken(readings)[DOOR][-1] == (minute(4 + 3 * 1.95), None)
