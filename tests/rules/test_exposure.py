"""Stretches outside a band: solved by hand on small cases, and held to what must add up on any.

The figures are our own arithmetic, worked out beside each case; there is no outside table of stretches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.exposure import BandFrom, Exposure, exposure, exposure_of, spread
from rules.holding import room_steps, spoken
from rules.model import MINUTE_MS, Instant, ProbeId, Quantity, Reading, Side
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

BAND = (BandFrom(from_ms=0, low=85.0, high=95.0),)
START: Instant = 1_000 * MINUTE_MS


def minute(count: float) -> Instant:
    return START + round(count * MINUTE_MS)


def series(points: Sequence[tuple[float, float]], probe: str = "door") -> list[Reading]:
    return [
        Reading(probe=ProbeId(probe), quantity=Quantity.HUMIDITY, at_ms=minute(at), value=value)
        for at, value in points
    ]


def seen(
    readings: Sequence[Reading], minutes: float, bands: Sequence[BandFrom] = BAND, *, start: float = 0
) -> Exposure:
    return exposure(readings, bands=bands, from_ms=minute(start), to_ms=minute(minutes))


def test_an_irregular_dip_is_measured_to_the_minute() -> None:
    """80 from 5 to 7 (5 below, 2 min) and 83 from 7 to 12 (2 below, 5 min): 7 min and 10 + 10 = 20."""
    readings = series([(0, 90), (5, 80), (7, 83), (12, 85), (14, 90), (17, 90)])

    (stretch,) = seen(readings, 18).stretches

    assert (stretch.side, stretch.from_ms, stretch.to_ms) == (Side.LOW, minute(5), minute(12))
    assert (stretch.minutes, stretch.area) == (7, 20)
    assert (stretch.worst, stretch.worst_ms, stretch.depth) == (80, minute(5), 5)


def test_a_value_on_the_edge_is_inside() -> None:
    assert seen(series([(0, 85), (3, 95), (6, 85)]), 9).stretches == ()


def test_both_sides_are_found_in_order_of_time() -> None:
    readings = series([(0, 97), (2, 90), (4, 84), (6, 90)])

    found = seen(readings, 8)

    assert [s.side for s in found.stretches] == [Side.HIGH, Side.LOW]
    assert (found.outside_ms, found.area) == (4 * MINUTE_MS, 2 * 2 + 1 * 2)


def test_the_room_is_as_dry_as_its_driest_probe_and_as_wet_as_its_wettest() -> None:
    readings = series([(0, 90), (4, 80), (8, 90)]) + series([(0, 90), (2, 96), (6, 90)], probe="back")

    low, high = sorted(seen(readings, 9).stretches, key=lambda s: s.side != Side.LOW)

    assert (low.from_ms, low.to_ms, low.worst) == (minute(4), minute(8), 80)
    assert (high.from_ms, high.to_ms, high.worst) == (minute(2), minute(6), 96)


def test_what_is_still_outside_at_the_end_has_no_end() -> None:
    (stretch,) = seen(series([(0, 90), (5, 80), (10, 80)]), 12).stretches

    assert (stretch.to_ms, stretch.last_ms, stretch.minutes) == (None, minute(12), 7)


def test_a_silent_probe_speaks_for_three_usual_intervals_and_no_longer() -> None:
    """Every 2 min, last at 6: known until 12, then nobody can say. 12 of 20 min are known."""
    found = seen(series([(0, 90), (2, 90), (4, 80), (6, 80)]), 20)

    (stretch,) = found.stretches
    assert (stretch.minutes, stretch.last_ms, stretch.to_ms) == (8, minute(12), None)
    assert found.coverage == pytest.approx(0.6)


def test_no_value_holds_longer_than_a_quarter_of_an_hour() -> None:
    """Every 10 min: three intervals would be 30, but 15 is the most."""
    found = seen(series([(0, 80), (10, 80), (20, 80)]), 60)

    assert found.outside_ms == 35 * MINUTE_MS


def test_a_gap_neither_ends_a_stretch_nor_counts_for_it() -> None:
    """Low from 0, heard each minute to 2, silent from 5, low again from 30 to 31, then inside."""
    found = seen(series([(0, 80), (1, 80), (2, 80), (30, 80), (31, 90)]), 32)

    (stretch,) = found.stretches
    assert (stretch.from_ms, stretch.to_ms, stretch.minutes) == (minute(0), minute(31), 5 + 1)


def test_the_band_may_step_while_the_value_stands_still() -> None:
    """82 is below 85 until the stage changes at 10; from then 80 is the low edge."""
    bands = (*BAND, BandFrom(from_ms=minute(10), low=80.0, high=90.0))

    (stretch,) = seen(series([(n, 82) for n in range(0, 20, 2)]), 20, bands).stretches

    assert (stretch.to_ms, stretch.minutes, stretch.area) == (minute(10), 10, 30)


def test_before_the_first_band_and_without_an_edge_nothing_is_outside() -> None:
    bands = (BandFrom(from_ms=minute(4), high=95.0),)

    assert seen(series([(0, 99), (2, 10), (4, 10), (6, 99)]), 8, bands).outside_ms == 2 * MINUTE_MS


def test_a_reading_before_the_span_holds_into_it() -> None:
    found = seen(series([(0, 80), (4, 80), (8, 90)]), 10, start=6)

    (stretch,) = found.stretches
    assert (stretch.from_ms, stretch.to_ms) == (minute(6), minute(8))


def test_nothing_is_known_without_readings() -> None:
    found = seen([], 10)

    assert (found.stretches, found.coverage) == ((), 0)


def test_several_quantities_at_once_are_refused() -> None:
    other = Reading(probe=ProbeId("door"), quantity=Quantity.CO2, at_ms=minute(1), value=800)

    with pytest.raises(ValueError, match="several quantities"):
        seen([*series([(0, 90)]), other], 10)


def test_a_span_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="ends after it begins"):
        seen(series([(0, 90)]), 0)


def test_the_spread_is_lowest_and_highest_of_the_span_only() -> None:
    readings = series([(-1, 10), (0, 80), (5, 96), (10, 99)])

    assert spread(readings, from_ms=minute(0), to_ms=minute(10)) == (80, 96)
    assert spread(readings, from_ms=minute(20), to_ms=minute(30)) is None


READINGS = st.lists(
    st.builds(
        Reading,
        probe=st.sampled_from([ProbeId("door"), ProbeId("back")]),
        quantity=st.just(Quantity.HUMIDITY),
        at_ms=st.integers(minute(-20), minute(60)),
        value=st.integers(70, 100).map(float),
    ),
    max_size=25,
    unique_by=lambda r: (r.probe, r.at_ms),
)
BANDS = st.lists(
    st.builds(
        BandFrom,
        from_ms=st.integers(minute(-10), minute(60)),
        low=st.none() | st.integers(75, 85).map(float),
        high=st.none() | st.integers(90, 96).map(float),
    ),
    max_size=3,
    unique_by=lambda b: b.from_ms,
).map(lambda bands: sorted(bands, key=lambda b: b.from_ms))


@STEADY
@given(readings=READINGS, bands=BANDS)
def test_counting_every_single_minute_gives_the_same_areas(readings: list[Reading], bands: list[BandFrom]) -> None:
    """Slowly, one minute after the other: all moments here are whole minutes, so nothing changes within one."""
    by_minute = {
        (r.probe, r.at_ms // MINUTE_MS): replace(r, at_ms=r.at_ms - r.at_ms % MINUTE_MS) for r in readings
    }
    tidy = list(by_minute.values())
    stepping = [replace(band, from_ms=band.from_ms - band.from_ms % MINUTE_MS) for band in bands]
    found = seen(tidy, 60, stepping)

    said = spoken(tidy)
    depths = []
    for at_ms in range(minute(0), minute(60), MINUTE_MS):
        ((*_, lowest, highest),) = room_steps(said.values(), from_ms=at_ms, to_ms=at_ms + 1)
        band = next((b for b in reversed(stepping) if b.from_ms <= at_ms), BandFrom(from_ms=0))
        if lowest is not None and highest is not None:
            depths += [band.depth(lowest, Side.LOW), band.depth(highest, Side.HIGH)]
    assert found.area == pytest.approx(sum(depths))
    assert found.outside_ms == MINUTE_MS * sum(depth > 0 for depth in depths)


@STEADY
@given(readings=READINGS, bands=BANDS)
def test_steps_cut_once_serve_any_edges(readings: list[Reading], bands: list[BandFrom]) -> None:
    steps = room_steps(spoken(readings).values(), from_ms=minute(0), to_ms=minute(60))

    assert exposure_of(steps, bands=bands) == seen(readings, 60, bands)
    assert exposure_of(steps, bands=BAND) == seen(readings, 60)


@STEADY
@given(readings=READINGS, bands=BANDS, middle=st.integers(1, 59))
def test_splitting_the_time_adds_up(readings: list[Reading], bands: list[BandFrom], middle: int) -> None:
    whole = seen(readings, 60, bands)
    parts = (seen(readings, middle, bands), seen(readings, 60, bands, start=middle))

    assert whole.known_ms == sum(p.known_ms for p in parts)
    assert whole.outside_ms == sum(p.outside_ms for p in parts)
    assert whole.area == pytest.approx(sum(p.area for p in parts))


@STEADY
@given(readings=READINGS, bands=BANDS, order=st.randoms(use_true_random=False))
def test_the_order_and_repetition_of_readings_do_not_matter(
    readings: list[Reading], bands: list[BandFrom], order: Random
) -> None:
    shuffled = [*readings, *readings]
    order.shuffle(shuffled)

    assert seen(shuffled, 60, bands) == seen(readings, 60, bands)


@pytest.mark.parametrize(
    ("value", "side", "depth"), [(80, Side.LOW, 5), (85, Side.LOW, 0), (99, Side.HIGH, 4), (99, Side.LOW, 0)]
)
def test_how_far_outside_a_value_is(value: float, side: Side, depth: float) -> None:
    assert BAND[0].depth(value, side) == depth
    assert BandFrom(from_ms=0).depth(value, side) == 0, "without an edge nothing is outside"


def test_the_spread_is_that_of_the_readings_within_the_span() -> None:
    readings = series([(0, 99), (5, 90), (7, 84), (12, 50)])
    assert spread(readings, from_ms=minute(5), to_ms=minute(12)) == (84, 90)
    assert spread(readings, from_ms=minute(13), to_ms=minute(20)) is None


def test_a_band_that_changes_cuts_the_step_it_falls_into() -> None:
    """82 all along: 3 below the band up to minute 4, inside from then on."""
    bands = (BandFrom(from_ms=0, low=85.0), BandFrom(from_ms=minute(4), low=80.0))
    (stretch,) = seen(series([(0, 82), (10, 82)]), 15, bands).stretches
    assert (stretch.minutes, stretch.area, stretch.to_ms) == (4, 12, minute(4))
