"""What a room usually shows, and the limit that hangs on it.

No standard or table gives such a figure; what is checked from outside is the arithmetic: ``statistics.median`` of
Python's standard library over samples that are taken here one by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from statistics import median
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.limits import RoomLimits, tenderest
from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from rules.stays import Stay, stays_in_order
from rules.usual import SameHour, Span, Usual, grown, usual_by_hour, with_usual
from tests.support.rooms import (
    BACK_PROBE,
    COLD,
    DOOR_PROBE,
    HUMIDITY_HIGH,
    HUMIDITY_LOW,
    START_MS,
    band,
    crop,
    text_limit,
)

pytestmark = pytest.mark.pure

HANGS: Final = replace(text_limit(55), below_usual=12.0)
"""A fixed limit of 55, and 12 under what is usual."""


def _hour(days_back: int, *, after: float = 0) -> Instant:
    """The hour that begins ``after`` hours after the start, some days ago."""
    return START_MS - days_back * DAY_MS + round(after * HOUR_MS)


def _shows(
    value: float,
    from_ms: Instant,
    *,
    step_ms: int = MINUTE_MS,
    span_ms: int = HOUR_MS,
    probe: ProbeId = DOOR_PROBE,
) -> list[Reading]:
    moments = range(from_ms, from_ms + span_ms, step_ms)
    return [Reading(probe=probe, quantity=Quantity.HUMIDITY, at_ms=at, value=value) for at in moments]


def _days(*values: float) -> list[Reading]:
    """What the same hour showed yesterday, the day before, and so on."""
    return [reading for back, value in enumerate(values, start=1) for reading in _shows(value, _hour(back))]


def _usual(readings: Iterable[Reading], *, days: int = 14, unlike: Sequence[Span] = ()) -> float | None:
    hour = SameHour(from_ms=START_MS, earlier=tuple(_hour(back) for back in range(1, days + 1)))
    found = usual_by_hour(
        readings, quantity=Quantity.HUMIDITY, hours=[hour], until_ms=START_MS + HOUR_MS, unlike=unlike
    )
    return found.at(START_MS)


# --- what is usual -----------------------------------------------------------------------------------------------


def test_usual_is_the_middle_of_the_days_whatever_one_bad_day_did() -> None:
    assert _usual(_days(92, 91, 40)) == median([92, 91, 40]) == 91
    assert _usual(_days(92, 91, 93, 94)) == median([92, 91, 93, 94]) == 92.5


def test_fewer_than_three_days_are_no_habit() -> None:
    assert _usual(_days(92, 91)) is None
    assert _usual([]) is None


def test_a_quarter_of_an_hour_with_the_door_open_does_not_move_its_day() -> None:
    door = _shows(60, _hour(1, after=0.25), span_ms=15 * MINUTE_MS)
    rest = _shows(92, _hour(1), span_ms=15 * MINUTE_MS) + _shows(92, _hour(1, after=0.5), span_ms=HOUR_MS // 2)
    assert _usual([*door, *rest, *_shows(92, _hour(2)), *_shows(92, _hour(3))]) == 92


def test_an_hour_known_by_half_counts_and_by_less_does_not() -> None:
    two = [*_shows(92, _hour(1)), *_shows(92, _hour(2))]
    # The last value holds for three intervals: the minute it came and two more.
    half = _shows(92, _hour(3), span_ms=28 * MINUTE_MS)
    assert _usual([*two, *half]) == 92
    assert _usual([*two, *half[:-1]]) is None


def test_a_slow_probe_s_hour_counts_as_much_as_a_quick_one_s() -> None:
    for step_ms in (10 * SECOND_MS, MINUTE_MS, 10 * MINUTE_MS, 15 * MINUTE_MS):
        steps = enumerate([88, 90, 92], start=1)
        assert _usual([r for back, value in steps for r in _shows(value, _hour(back), step_ms=step_ms)]) == 90


def test_a_value_is_held_no_longer_than_a_quarter_of_an_hour() -> None:
    hourly = [r for back in range(1, 5) for r in _shows(92, _hour(back), step_ms=HOUR_MS)]
    assert _usual(hourly) is None


def test_a_probe_heard_once_speaks_for_fifteen_minutes() -> None:
    once = _shows(70, _hour(1), step_ms=HOUR_MS, probe=BACK_PROBE)
    assert _usual([*once, *_days(92, 92, 92)]) == 92


def test_the_lowest_probe_speaks_for_the_room() -> None:
    back = [replace(r, probe=BACK_PROBE, value=r.value - 6) for r in _days(92, 92, 92)]
    assert _usual([*_days(92, 92, 92), *back]) == 86


def test_other_quantities_are_not_taken() -> None:
    warm = [replace(r, quantity=Quantity.TEMPERATURE, value=15.0) for r in _days(92, 92, 92)]
    assert _usual(warm) is None
    assert _usual([*warm, *_days(92, 92, 92)]) == 92


def test_an_hour_in_which_the_room_was_otherwise_does_not_count() -> None:
    readings = _days(70, 92, 92, 92)
    assert _usual(readings, unlike=[(_hour(1, after=0.9), _hour(1, after=5))]) == 92
    assert _usual(readings, unlike=[(_hour(3, after=-1), _hour(1, after=0.1))]) is None
    beside = [(_hour(1, after=1), _hour(1, after=2)), (_hour(2, after=-1), _hour(2))]
    assert _usual(_days(92, 92, 92), unlike=beside) == 92


def test_days_that_are_not_asked_about_are_not_taken() -> None:
    assert _usual(_days(92, 92, 92, 50, 50, 50, 50), days=3) == 92


def test_usual_is_said_in_the_tenths_that_probes_report() -> None:
    assert _usual(_days(92.1, 92.2, 92.4, 92.3)) == 92.2


def test_each_hour_to_come_has_its_own_step_and_its_own_earlier_hours() -> None:
    """The caller names the hours: after a clock change the same hour lies 23 or 25 hours back."""
    mornings = (START_MS - 25 * HOUR_MS, START_MS - 49 * HOUR_MS, START_MS - 73 * HOUR_MS)
    noons = tuple(at + 6 * HOUR_MS for at in mornings)
    readings = [r for at in mornings for r in _shows(95, at)] + [r for at in noons for r in _shows(85, at)]
    hours = [
        SameHour(from_ms=START_MS, earlier=mornings),
        SameHour(from_ms=START_MS + HOUR_MS, earlier=()),
        SameHour(from_ms=START_MS + 6 * HOUR_MS, earlier=noons),
    ]
    found = usual_by_hour(
        readings, quantity=Quantity.HUMIDITY, hours=hours, until_ms=START_MS + 7 * HOUR_MS, unlike=()
    )
    assert found == Usual(
        quantity=Quantity.HUMIDITY,
        from_ms=START_MS,
        until_ms=START_MS + 7 * HOUR_MS,
        steps=((START_MS, 95), (START_MS + HOUR_MS, None), (START_MS + 6 * HOUR_MS, 85)),
    )
    asked = [-0.1, 0, 0.9, 1, 5.9, 6, 6.9, 7]
    said = [found.at(START_MS + round(hour * HOUR_MS)) for hour in asked]
    assert said == [None, 95, 95, None, None, 85, 85, None]


@st.composite
def _weeks(draw: st.DrawFn) -> list[Reading]:
    """A few days' same hour of two probes with gaps and odd moments."""
    readings = []
    for probe in (DOOR_PROBE, BACK_PROBE):
        for back in range(1, draw(st.integers(0, 5)) + 1):
            moments = draw(st.lists(st.integers(-20 * 60, 60 * 60), unique=True, max_size=12))
            values = draw(st.lists(st.integers(40, 100), min_size=len(moments), max_size=len(moments)))
            readings += [
                Reading(probe=probe, quantity=Quantity.HUMIDITY, at_ms=_hour(back) + at * SECOND_MS, value=value)
                for at, value in zip(moments, values, strict=True)
            ]
    return readings


def _slowly(readings: Sequence[Reading]) -> float | None:
    """The same figure, sample by sample, as a person would work it out on paper."""
    days = []
    for back in range(1, 15):
        samples = []
        for number in range(60):
            at_ms = _hour(back) + number * MINUTE_MS
            held = [
                value for probe in (DOOR_PROBE, BACK_PROBE) if (value := _held(readings, probe, at_ms)) is not None
            ]
            samples += [min(held)] if held else []
        if len(samples) >= 30:
            days.append(median(samples))
    return round(median(days), 1) if len(days) >= 3 else None


def _held(readings: Sequence[Reading], probe: ProbeId, at_ms: Instant) -> float | None:
    mine = sorted((r.at_ms, r.value) for r in readings if r.probe == probe)
    gaps = [later[0] - earlier[0] for earlier, later in pairwise(mine)]
    hold_ms = min(3 * median(gaps) if gaps else 15 * MINUTE_MS, 15 * MINUTE_MS)
    before = [(at, value) for at, value in mine if at <= at_ms]
    return before[-1][1] if before and at_ms - before[-1][0] < hold_ms else None


@given(_weeks(), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_usual_is_as_worked_out_sample_by_sample_in_any_order_and_twice_over(
    readings: list[Reading], chance: object
) -> None:
    expected = _slowly(readings)
    assert _usual(readings) == expected
    assert _usual([*reversed(readings), *readings]) == expected


# --- the limit that hangs on it ----------------------------------------------------------------------------------


def _room(*, limit: float = 55, below: float | None = 12.0) -> RoomLimits:
    text = replace(text_limit(limit, far=50, far_wait=2), below_usual=below)
    others = {HUMIDITY_HIGH: text_limit(99), COLD: text_limit(8)}
    low_edge = {Quantity.HUMIDITY: band(60, 80)}
    return tenderest([crop({HUMIDITY_LOW: text, **others}, bands=low_edge)], from_ms=START_MS)


def test_where_a_room_usually_stands_high_the_limit_rises_with_it_even_above_the_band_s_edge() -> None:
    before = _room()
    after = with_usual(before, {Quantity.HUMIDITY: 92.0})
    low = after.limits[HUMIDITY_LOW]
    assert (low.near.limit, low.usual) == (80, 92)
    assert (low.near.wait_ms, low.far, low.crop) == (
        before.limits[HUMIDITY_LOW].near.wait_ms,
        before.limits[HUMIDITY_LOW].far,
        before.limits[HUMIDITY_LOW].crop,
    )
    assert {key: after.limits[key] for key in (HUMIDITY_HIGH, COLD)} == {
        key: before.limits[key] for key in (HUMIDITY_HIGH, COLD)
    }
    assert (after.from_ms, after.holds) == (before.from_ms, before.holds)
    assert after.fingerprint != before.fingerprint


@pytest.mark.parametrize("usual", [40.0, 66.9, 67.0, None])
def test_what_is_usual_never_lowers_a_limit(usual: float | None) -> None:
    before = _room()
    assert with_usual(before, {Quantity.HUMIDITY: usual}) is before


def test_only_a_limit_that_asks_for_it_hangs_on_what_is_usual() -> None:
    plain = _room(below=None)
    assert with_usual(plain, {Quantity.HUMIDITY: 92.0}) is plain
    asks = _room()
    assert with_usual(asks, {}) is asks
    assert with_usual(asks, {Quantity.TEMPERATURE: 92.0}) is asks


def test_a_high_limit_never_hangs_on_what_is_usual() -> None:
    high = tenderest([crop({HUMIDITY_HIGH: HANGS})], from_ms=START_MS)
    assert with_usual(high, {Quantity.HUMIDITY: 92.0}) is high


def test_a_limit_of_another_crop_s_making_is_left_alone() -> None:
    """Such as one that a stated compromise put there, which no stage's figures know."""
    (held,) = tenderest([crop({HUMIDITY_LOW: HANGS})], from_ms=0).limits.values()
    odd = RoomLimits(from_ms=0, limits={COLD: held})
    assert with_usual(odd, {Quantity.TEMPERATURE: 92.0}) is odd


def test_a_room_back_at_its_usual_value_is_back_as_far_as_a_probe_can_tell() -> None:
    """However little below the usual a profile asks for, two points of probe and the recover margin remain."""
    low = with_usual(_room(below=1.0), {Quantity.HUMIDITY: 92.0}).limits[HUMIDITY_LOW]
    assert low.near.limit == 92 - 2 - 3
    assert low.near.is_back(92 - 2)


@given(st.integers(0, 1000), st.integers(1, 400), st.integers(0, 1000))
def test_the_limit_is_the_fixed_one_or_the_one_below_usual_whichever_is_reached_first(
    limit: int, below: int, usual: int
) -> None:
    room = _room(limit=limit / 10, below=below / 10)
    low = with_usual(room, {Quantity.HUMIDITY: usual / 10}).limits[HUMIDITY_LOW]
    expected = max(limit, usual - max(below, 50))
    assert low.near.limit == expected / 10
    assert (low.usual is None) == (expected == limit)


# --- like itself -------------------------------------------------------------------------------------------------


def _stays(*rows: tuple[str, str, int]) -> list[Stay]:
    """Stays of (batch, stage, version of the profile) from one moment on."""
    noted = {"room_id": "h1", "profile": "oyster", "valid_from_ms": 0}
    said = [{**noted, "batch_id": batch, "stage": stage, "version": version} for batch, stage, version in rows]
    return stays_in_order(said)


def test_a_room_is_like_itself_while_the_same_stages_stand_in_it_whichever_batch_it_is() -> None:
    assert grown(_stays(("a", "pinning", 1))) == grown(_stays(("b", "pinning", 2), ("c", "pinning", 1)))
    assert grown(_stays(("a", "pinning", 1))) != grown(_stays(("a", "rest", 1)))
    assert grown([]) == frozenset()
