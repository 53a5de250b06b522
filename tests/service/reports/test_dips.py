"""What is worth a sentence and what is only counted: solved by hand; the measures are our own judgement."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from rules.exposure import BandFrom
from rules.model import MINUTE_MS, ProbeId, Quantity, Reading, Side
from service.reports.dips import Outside, outside
from service.storage.nights import Heard

pytestmark = pytest.mark.pure

START = 1_000 * MINUTE_MS
BAND = (BandFrom(from_ms=0, low=90.0, high=97.0),)
LIMITS = (BandFrom(from_ms=0, low=80.0),)


def heard(values: Sequence[float], *, late_min: float = 0, probe: str = "door") -> list[Heard]:
    """One value a minute, from the start."""
    return [
        Heard(
            reading=Reading(
                probe=ProbeId(probe), quantity=Quantity.HUMIDITY, at_ms=START + n * MINUTE_MS, value=value
            ),
            received_ms=START + n * MINUTE_MS + round(late_min * MINUTE_MS),
        )
        for n, value in enumerate(values)
    ]


def found(readings: Sequence[Heard], minutes: int) -> Outside:
    to_ms = START + minutes * MINUTE_MS
    return outside(readings, quantity=Quantity.HUMIDITY, bands=BAND, limits=LIMITS, from_ms=START, to_ms=to_ms)


def test_a_deep_and_long_time_outside_is_a_dip_with_its_worst_and_its_probe() -> None:
    readings = heard([92] * 5 + [85] * 6 + [84] * 2 + [92] * 5)

    (dip,) = found(readings + heard([95] * 18, probe="back"), 18).dips

    assert (dip.side, dip.worst, dip.edge, dip.worst_probe) == (Side.LOW, 84, 90, "door")
    assert (dip.outside_ms, dip.area) == (8 * MINUTE_MS, 6 * 5 + 2 * 6)
    assert (dip.past_from_ms, dip.limit) == (None, 80)


def test_spells_with_little_between_them_are_one_dip() -> None:
    spell = [85] * 4 + [92] * 5

    (dip,) = found(heard(spell * 3), 27).dips

    assert (dip.times, dip.outside_ms) == (3, 12 * MINUTE_MS)


def test_spells_far_apart_are_two_dips() -> None:
    assert len(found(heard([85] * 6 + [92] * 10 + [85] * 6 + [92]), 23).dips) == 2


def test_what_a_probe_may_be_off_by_is_only_counted() -> None:
    """Two points of humidity (common practice): 88 is no more than that below 90."""
    result = found(heard([88] * 20 + [92] * 20), 40)

    assert (result.dips, result.brief_times, result.brief_ms) == ((), 1, 20 * MINUTE_MS)


def test_somebody_going_through_the_door_is_only_counted() -> None:
    result = found(heard([92] * 5 + [82] * 4 + [92] * 5), 14)

    assert (result.dips, result.brief_times) == ((), 1)


def test_whatever_passed_the_text_limit_is_told_however_short() -> None:
    (dip,) = found(heard([92, 79, 92, 92]), 4).dips

    assert (dip.past_from_ms, dip.past_ms) == (START + MINUTE_MS, MINUTE_MS)


def test_a_dip_that_reached_us_late_says_when_we_learned_of_it() -> None:
    values = [92] * 5 + [82] * 10 + [92] * 5

    assert found(heard(values, late_min=1), 20).dips[0].learned_ms is None
    assert found(heard(values, late_min=45), 20).dips[0].learned_ms == START + 50 * MINUTE_MS


def test_where_nobody_would_be_woken_only_half_an_hour_is_a_dip() -> None:
    """A cooler's humidity falls at every defrost, and nobody wants to read of it."""
    fog = [92.0] + [100.0] * 29 + [92.0]

    assert found(heard(fog), 31).dips == ()
    assert found(heard(fog), 31).brief_times == 1
    assert len(found(heard([100.0, *fog[1:]]), 31).dips) == 1
