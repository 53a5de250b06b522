"""Time-weighted means against the rows of ``tests/reference/statistics.csv``, and small cases solved by hand.

Each row carries its source, basis and tolerance; the hand-solved cases are arithmetic, worked out beside each.
"""

from __future__ import annotations

import csv
import json
import math
from itertools import accumulate
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.derive import vapour_pressure_deficit_kpa
from rules.drying_dose import drying_dose
from rules.means import Mean, Sample, hold_last_mean, trapezoid_mean
from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from rules.people import FIFTEEN_MINUTES_MS, PeopleLimits
from rules.people_air import Air, AirState, breathe, figures
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

REFERENCE = Path(__file__).parents[1] / "reference" / "statistics.csv"
ROWS = [
    row
    for row in csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines())
    if row["quantity"].startswith("time_weighted_mean")
]


def _by_row(row: dict[str, str]) -> Mean | None:
    inputs: dict[str, Any] = json.loads(row["inputs"])
    moments = [SECOND_MS * second for second in inputs["t_s"]]
    samples = list(zip(moments, inputs["x"], strict=True))
    mean = hold_last_mean if row["quantity"].endswith("hold_last") else trapezoid_mean
    return mean(samples, from_ms=moments[0], to_ms=moments[-1])


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['id']}-{row['quantity']}" for row in ROWS])
def test_every_published_row_is_met_within_its_own_tolerance(row: dict[str, str]) -> None:
    found = _by_row(row)
    assert found is not None
    assert found.coverage == 1
    assert abs(found.value - float(row["expected"])) <= float(row["tolerance"]), row["source"]


def test_the_rows_speak_of_both_ways() -> None:
    assert {row["quantity"] for row in ROWS} == {"time_weighted_mean_hold_last", "time_weighted_mean_trapezoid"}


DOOR = ProbeId("door")


def co2(at_ms: Instant, ppm: float) -> Reading:
    return Reading(probe=DOOR, quantity=Quantity.CO2, at_ms=at_ms, value=ppm)


def minutes(points: list[tuple[float, float]]) -> list[Sample]:
    return [(round(at * MINUTE_MS), value) for at, value in points]


def test_a_probe_that_speaks_more_often_does_not_count_more() -> None:
    """10 for 50 min, then 40 for 10 min, said once or ten times: (10 x 50 + 40 x 10) / 60 = 15."""
    once = minutes([(0, 10), (50, 40)])
    often = minutes([(0, 10), *((50 + n, 40) for n in range(10))])
    for samples in (once, often):
        found = hold_last_mean(samples, from_ms=0, to_ms=HOUR_MS)
        assert found == Mean(from_ms=0, to_ms=HOUR_MS, value=15, known_ms=HOUR_MS)


def test_a_capped_hold_leaves_the_rest_unknown() -> None:
    """20 known from 0 to 5, then silence to 30, then 26 from 30 to 35: mean 23 of 10 in 60 minutes."""
    found = hold_last_mean(minutes([(0, 20), (30, 26)]), from_ms=0, to_ms=HOUR_MS, longest_hold_ms=5 * MINUTE_MS)
    assert found is not None
    assert (found.value, found.known_ms) == (23, 10 * MINUTE_MS)
    assert found.coverage == pytest.approx(1 / 6)


def test_what_was_measured_before_the_span_holds_into_it() -> None:
    """18 from -4 on counts for the first 3 of 6 minutes, 24 for the others."""
    found = hold_last_mean(minutes([(-4, 18), (3, 24), (9, 99)]), from_ms=0, to_ms=6 * MINUTE_MS)
    assert found is not None
    assert (found.value, found.coverage) == (21, 1)


def test_a_line_is_cut_where_the_span_begins_and_ends() -> None:
    """From 0 at -10 to 40 at 30 the line is at 10 when the span begins and at 30 when it ends: mean 20."""
    found = trapezoid_mean(minutes([(-10, 0), (30, 40)]), from_ms=0, to_ms=20 * MINUTE_MS)
    assert found is not None
    assert (found.value, found.coverage) == (20, 1)


def test_no_line_is_drawn_across_a_long_silence() -> None:
    """10 to 20 over 10 minutes, then nothing for 40, then 50 to 50 over 10: (15 x 10 + 50 x 10) / 20 = 32.5."""
    samples = minutes([(0, 10), (10, 20), (50, 50), (60, 50)])
    found = trapezoid_mean(samples, from_ms=0, to_ms=HOUR_MS, longest_gap_ms=10 * MINUTE_MS)
    assert found is not None
    assert (found.value, found.known_ms) == (32.5, 20 * MINUTE_MS)


def test_before_the_first_and_after_the_last_sample_no_line_runs() -> None:
    found = trapezoid_mean(minutes([(15, 4), (45, 8)]), from_ms=0, to_ms=HOUR_MS)
    assert found is not None
    assert (found.value, found.coverage) == (6, 0.5)


def test_held_values_lag_behind_a_steady_rise_and_lines_do_not() -> None:
    """A rise of 1 a minute, heard each 10 minutes from 0 to 60: its mean is 30; held it is 5 less."""
    rise = minutes([(n, n) for n in range(0, 61, 10)])
    held, drawn = (mean(rise, from_ms=0, to_ms=HOUR_MS) for mean in (hold_last_mean, trapezoid_mean))
    assert held is not None
    assert drawn is not None
    assert (held.value, drawn.value) == (25, 30)


def test_the_first_of_two_values_at_one_moment_counts() -> None:
    for mean in (hold_last_mean, trapezoid_mean):
        found = mean([(0, 10.0), (0, 99.0), (MINUTE_MS, 10.0)], from_ms=0, to_ms=MINUTE_MS)
        assert found is not None
        assert found.value == 10


@pytest.mark.parametrize("samples", [[], [(2 * HOUR_MS, 5.0)], [(-HOUR_MS, 5.0)]])
def test_nothing_known_has_no_mean(samples: list[Sample]) -> None:
    within = {"from_ms": 0, "to_ms": HOUR_MS}
    assert hold_last_mean(samples, **within, longest_hold_ms=MINUTE_MS) is None
    assert trapezoid_mean(samples, **within, longest_gap_ms=MINUTE_MS) is None


def test_what_cannot_be_averaged_is_refused() -> None:
    for mean in (hold_last_mean, trapezoid_mean):
        with pytest.raises(ValueError, match="ends after it begins"):
            mean([(0, 1.0)], from_ms=5, to_ms=5)
        with pytest.raises(ValueError, match="not a finite number"):
            mean([(0, math.nan)], from_ms=0, to_ms=5)
    with pytest.raises(ValueError, match="longest hold or gap is 0 ms"):
        hold_last_mean([(0, 1.0)], from_ms=0, to_ms=5, longest_hold_ms=0)
    with pytest.raises(ValueError, match="longest hold or gap is -1 ms"):
        trapezoid_mean([(0, 1.0)], from_ms=0, to_ms=5, longest_gap_ms=-1)


SAMPLES = st.lists(
    st.tuples(st.integers(-20, 80).map(lambda n: n * MINUTE_MS), st.integers(0, 100).map(float)),
    max_size=20,
    unique_by=lambda sample: sample[0],
)


@STEADY
@given(samples=SAMPLES, order=st.randoms(use_true_random=False), middle=st.integers(1, 59))
def test_order_does_not_matter_and_the_parts_make_the_whole(
    samples: list[Sample], order: Random, middle: int
) -> None:
    shuffled = [*samples, *samples]
    order.shuffle(shuffled)
    longest, cut = 7 * MINUTE_MS, middle * MINUTE_MS
    for whole, parts in (
        (
            hold_last_mean(shuffled, from_ms=0, to_ms=HOUR_MS, longest_hold_ms=longest),
            [
                hold_last_mean(samples, from_ms=a, to_ms=b, longest_hold_ms=longest)
                for a, b in ((0, cut), (cut, HOUR_MS))
            ],
        ),
        (
            trapezoid_mean(shuffled, from_ms=0, to_ms=HOUR_MS, longest_gap_ms=longest),
            [
                trapezoid_mean(samples, from_ms=a, to_ms=b, longest_gap_ms=longest)
                for a, b in ((0, cut), (cut, HOUR_MS))
            ],
        ),
    ):
        known = [part for part in parts if part is not None]
        if whole is None:
            assert known == []
            continue
        assert whole.known_ms == sum(part.known_ms for part in known)
        assert whole.value * whole.known_ms == pytest.approx(sum(part.value * part.known_ms for part in known))
        assert min(v for _, v in samples) - 1e-9 <= whole.value <= max(v for _, v in samples) + 1e-9


READ_EACH_HALF_MINUTE = st.lists(
    st.tuples(st.integers(30, 60), st.integers(400, 40_000).map(float)), min_size=2, max_size=60
)
"""Seconds to the next reading, and a value; so close that no hold runs out in between."""


@STEADY
@given(pairs=READ_EACH_HALF_MINUTE)
def test_what_people_limits_average_is_the_mean_of_held_values(pairs: list[tuple[int, float]]) -> None:
    """The last fifteen whole minutes; a time before the first reading counts there as nothing."""
    moments = list(accumulate((SECOND_MS * seconds for seconds, _ in pairs), initial=DAY_MS))
    samples = list(zip(moments, (value for _, value in pairs), strict=False))
    now_ms = samples[-1][0] - samples[-1][0] % MINUTE_MS
    readings = [co2(at_ms, value) for at_ms, value in samples]
    air = Air(limits=PeopleLimits(), readings=readings)
    state, _ = breathe(AirState.unknown(DAY_MS - 1), air, until_ms=now_ms)

    quarter = figures(state, air).fifteen_minutes
    mean = hold_last_mean(samples, from_ms=now_ms - FIFTEEN_MINUTES_MS, to_ms=now_ms)
    if mean is None:
        assert quarter.coverage == 0
    else:
        assert quarter.coverage == pytest.approx(mean.coverage)
        assert quarter.ppm == pytest.approx(mean.value * mean.coverage)


@STEADY
@given(pairs=READ_EACH_HALF_MINUTE)
def test_the_mean_drying_power_is_the_mean_of_held_values(pairs: list[tuple[int, float]]) -> None:
    moments = list(accumulate((SECOND_MS * seconds for seconds, _ in pairs), initial=DAY_MS))
    damp = list(zip(moments, (value / 400 for _, value in pairs), strict=False))
    to_ms = damp[-1][0]
    dose = drying_dose(
        [Reading(probe=DOOR, quantity=Quantity.TEMPERATURE, at_ms=at_ms, value=16.0) for at_ms, _ in damp],
        [Reading(probe=DOOR, quantity=Quantity.HUMIDITY, at_ms=at_ms, value=value) for at_ms, value in damp],
        from_ms=DAY_MS,
        to_ms=to_ms,
    )
    powers = [(at_ms, vapour_pressure_deficit_kpa(16.0, value)) for at_ms, value in damp]
    mean = hold_last_mean(powers, from_ms=DAY_MS, to_ms=to_ms)
    assert mean is not None
    assert dose.mean_kpa == pytest.approx(mean.value)
