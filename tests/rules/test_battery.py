"""A battery is judged by its own past. The 8 % and the days are our judgement; no source to check against."""

from __future__ import annotations

import pytest

from rules.battery import Fading, fading

pytestmark = pytest.mark.pure

TODAY = 100
STEADY = [(day, 3.0) for day in range(65, 101)]


def fresh_from(day: int, volts: float) -> list[tuple[int, float]]:
    return [(d, volts if d >= day else v) for d, v in STEADY]


def test_a_steady_battery_is_well() -> None:
    assert fading(STEADY, today=TODAY) is None


def test_eight_hundredths_less_than_before_is_fading() -> None:
    assert fading(fresh_from(99, 2.76), today=TODAY) == Fading(volts=2.76, before_volts=3.0)
    assert fading(fresh_from(99, 2.77), today=TODAY) is None


def test_one_cold_day_is_not_the_end_of_a_battery() -> None:
    assert fading(fresh_from(100, 2.5), today=TODAY) is None


def test_a_battery_put_in_yesterday_is_well_however_low_the_old_one_was() -> None:
    sunk = [(day, 2.2 if 94 <= day < 99 else volts) for day, volts in STEADY]

    assert fading(sunk, today=TODAY) is None


def test_nothing_is_said_of_a_probe_that_was_not_heard_for_a_week() -> None:
    assert fading([(day, 3.0) for day in range(60, 94)], today=TODAY, least_volts=3.5) is None


def test_with_too_little_past_only_the_probes_own_figure_speaks() -> None:
    few = [(88, 3.0), (89, 3.0), (100, 2.0)]

    assert fading(few, today=TODAY) is None
    assert fading(few, today=TODAY, least_volts=2.1) == Fading(volts=2.0, before_volts=None)


def test_the_week_between_does_not_count_as_before() -> None:
    """A slow sinking within the last week must not lower what it is compared with."""
    assert fading([(day, 3.0 if day <= 93 else 2.7) for day in range(66, 101)], today=TODAY) is not None
