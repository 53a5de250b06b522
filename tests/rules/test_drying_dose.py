"""The drying dose and the hours close to saturation: solved by hand, and held to what must add up.

Saturation pressures in the hand-solved cases are the IAPWS-95 figures of ``tests/reference/psychrometrics.csv``
(30 degC 4246.97 Pa, 10 degC 1228.20 Pa, 12 degC 1402.85 Pa; computed); the rest is arithmetic beside each case.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.drying_dose import Dose, NearSaturation, drying_dose, near_saturation
from rules.model import HOUR_MS, MINUTE_MS, Instant, ProbeId, Quantity, Reading
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

START: Instant = 1_000 * MINUTE_MS
AT_10_KPA, AT_12_KPA, AT_30_KPA = 1.2282, 1.40285, 4.24697
WITHIN = 0.0005
"""Of the figure: what lies between our saturation pressure and IAPWS-95."""


def minute(count: float) -> Instant:
    return START + round(count * MINUTE_MS)


def series(quantity: Quantity, points: Sequence[tuple[float, float]], probe: str = "door") -> list[Reading]:
    return [
        Reading(probe=ProbeId(probe), quantity=quantity, at_ms=minute(at), value=value) for at, value in points
    ]


def warm(points: Sequence[tuple[float, float]], probe: str = "door") -> list[Reading]:
    return series(Quantity.TEMPERATURE, points, probe)


def damp(points: Sequence[tuple[float, float]], probe: str = "door") -> list[Reading]:
    return series(Quantity.HUMIDITY, points, probe)


def steady(value: float, *, every: int = 5, to: int = 60) -> list[tuple[float, float]]:
    return [(at, value) for at in range(0, to, every)]


def dose(
    temperature: Sequence[Reading],
    humidity: Sequence[Reading],
    minutes: float = 60,
    *,
    start: float = 0,
    accuracy: float = 0.0,
) -> Dose:
    within = {"from_ms": minute(start), "to_ms": minute(minutes)}
    return drying_dose(temperature, humidity, **within, accuracy_percent=accuracy)


def test_a_steady_hour_doses_its_drying_power() -> None:
    """30 degC at 75 %RH: a quarter of 4.24697 kPa for an hour."""
    found = dose(warm(steady(30)), damp(steady(75)))

    assert found.kpa_h == pytest.approx(AT_30_KPA / 4, rel=WITHIN)
    assert found.mean_kpa == pytest.approx(found.kpa_h)
    assert found.coverage == 1


def test_power_changes_whenever_either_does() -> None:
    """At 80 %RH: 10 degC to minute 12, 12 degC after; at 90 from minute 30. Minutes 12, 18, 30 of
    0.2 x 1.2282, 0.2 x 1.40285 and 0.1 x 1.40285 kPa."""
    temperature = warm([(0, 10), (6, 10), (12, 12), *((at, 12) for at in range(18, 60, 6))])
    humidity = damp([(at, 80) for at in range(0, 30, 5)] + [(at, 90) for at in range(30, 60, 5)])

    expected = (12 * 0.2 * AT_10_KPA + 18 * 0.2 * AT_12_KPA + 30 * 0.1 * AT_12_KPA) / 60
    assert dose(temperature, humidity).kpa_h == pytest.approx(expected, rel=WITHIN)


def test_saturated_air_dries_nothing_and_more_than_saturated_counts_as_saturated() -> None:
    assert dose(warm(steady(10)), damp(steady(100))).kpa_h == 0
    assert dose(warm(steady(10)), damp(steady(102))).kpa_h == 0


def test_time_without_both_is_unknown_and_doses_nothing() -> None:
    """Temperature each 5 min for an hour; humidity to minute 10, held to 25: 25 minutes are known."""
    found = dose(warm(steady(30)), damp([(0, 75), (5, 75), (10, 75)]))

    assert found.known_ms == 25 * MINUTE_MS
    assert found.coverage == pytest.approx(25 / 60)
    assert found.kpa_h == pytest.approx(AT_30_KPA / 4 * 25 / 60, rel=WITHIN)
    assert found.mean_kpa == pytest.approx(AT_30_KPA / 4, rel=WITHIN)


@pytest.mark.parametrize(("temperature", "humidity"), [([], []), (warm(steady(16)), []), ([], damp(steady(90)))])
def test_without_both_nothing_is_known(temperature: list[Reading], humidity: list[Reading]) -> None:
    found = dose(temperature, humidity)

    assert (found.kpa_h, found.low_kpa_h, found.high_kpa_h, found.known_ms) == (0, 0, 0, 0)
    assert (found.coverage, found.mean_kpa) == (0, None)


def test_a_room_dries_as_its_driest_place_does_each_with_its_own_temperature() -> None:
    """Door 30 degC and 75 %RH, 1.062 kPa; back 10 degC and 60 %RH, 0.491 kPa: the door counts, though its
    humidity is the higher one. From minute 30 the door is at 95 %RH, 0.212 kPa, and the back counts."""
    temperature = warm(steady(30)) + warm(steady(10), "back")
    at_door = damp(steady(75, to=30) + [(at, 95) for at in range(30, 60, 5)])

    found = dose(temperature, at_door + damp(steady(60), "back"))

    assert found.kpa_h == pytest.approx(0.5 * (0.25 * AT_30_KPA + 0.4 * AT_10_KPA), rel=WITHIN)


def test_a_probe_of_humidity_alone_borrows_the_middle_of_the_room() -> None:
    """Others show 8 and 12 degC: 10; at 80 %RH a fifth of 1.2282 kPa."""
    temperature = warm(steady(8), "left") + warm(steady(12), "right")

    assert dose(temperature, damp(steady(80))).kpa_h == pytest.approx(0.2 * AT_10_KPA, rel=WITHIN)


def test_probes_that_are_off_move_the_whole_dose() -> None:
    """2 points at 95 %RH: 0.05 of saturation becomes 0.03 or 0.07; at 99 %RH nothing, or 0.03."""
    found = dose(warm(steady(10)), damp(steady(95)), accuracy=2)
    assert found.low_kpa_h / found.kpa_h == pytest.approx(0.6)
    assert found.high_kpa_h / found.kpa_h == pytest.approx(1.4)

    wet = dose(warm(steady(10)), damp(steady(99)), accuracy=2)
    assert wet.low_kpa_h == 0
    assert wet.high_kpa_h / wet.kpa_h == pytest.approx(3)


def test_readings_before_the_span_hold_into_it() -> None:
    found = dose(warm([(-3, 30)]), damp([(-2, 75)]), 10)

    assert found.coverage == 1
    assert found.kpa_h == pytest.approx(AT_30_KPA / 4 / 6, rel=WITHIN)


def near(humidity: Sequence[Reading], minutes: float = 60, *, threshold: float = 95) -> NearSaturation:
    return near_saturation(humidity, threshold_percent=threshold, from_ms=minute(0), to_ms=minute(minutes))


def test_hours_near_saturation_are_counted_to_the_minute_and_the_threshold_belongs_to_them() -> None:
    """95 from 10 to 22 and 97 from 22 to 25: 15 minutes; 94.9 does not count; 99 from 40 to 45: 5 more."""
    points: list[tuple[float, float]] = [(0, 90), (5, 94.9), (10, 95), (17, 95), (22, 97), (25, 90)]
    found = near(damp([*points, (32, 90), (40, 99), (45, 90), (52, 90)]))

    assert (found.near_ms, found.longest_ms) == (20 * MINUTE_MS, 15 * MINUTE_MS)
    assert found.hours == pytest.approx(1 / 3)
    assert found.coverage == 1


def test_a_room_is_as_wet_as_its_wettest_probe() -> None:
    assert near(damp(steady(90)) + damp(steady(98), "back")).hours == 1


def test_a_gap_breaks_the_longest_time_and_is_not_counted() -> None:
    """98 each 2 min to 10, held to 16, heard again from 30 on, and the span ends at 40: 16 and 10 minutes."""
    points = [(at, 98.0) for at in range(0, 11, 2)] + [(30, 98.0), (33, 98.0), (36, 98.0), (39, 98.0)]
    found = near(damp(points), 40)

    assert (found.near_ms, found.longest_ms, found.known_ms) == (26 * MINUTE_MS, 16 * MINUTE_MS, 26 * MINUTE_MS)
    assert near([]).known_ms == 0


POINTS = st.lists(st.integers(-20, 60), max_size=12, unique=True)


@STEADY
@given(moments=st.tuples(POINTS, POINTS, POINTS), seed=st.integers(0, 99), middle=st.integers(1, 59))
def test_the_parts_make_the_whole_in_any_order(
    moments: tuple[list[int], list[int], list[int]], seed: int, middle: int
) -> None:
    random = Random(seed)
    temperature = warm([(at, random.uniform(8, 24)) for at in moments[0]])
    humidity = damp([(at, random.uniform(70, 101)) for at in moments[1]])
    humidity += damp([(at, random.uniform(70, 101)) for at in moments[2]], "back")
    whole = dose(temperature, humidity, accuracy=2)
    random.shuffle(temperature)
    random.shuffle(humidity)
    parts = dose(temperature, humidity, middle, accuracy=2), dose(temperature, humidity, start=middle, accuracy=2)

    assert whole.known_ms == sum(part.known_ms for part in parts)
    for name in ("kpa_h", "low_kpa_h", "high_kpa_h"):
        assert getattr(whole, name) == pytest.approx(sum(getattr(part, name) for part in parts), abs=1e-12)
    assert whole.low_kpa_h <= whole.kpa_h <= whole.high_kpa_h
    assert whole.known_ms <= HOUR_MS


def test_what_nobody_can_say_at_the_end_of_the_span_is_no_dose() -> None:
    """Readings at minutes 0 and 5 hold to minute 20; the other forty minutes are not known."""
    found = dose(warm([(0, 30), (5, 30)]), damp([(0, 75), (5, 75)]))
    assert found.known_ms == 20 * MINUTE_MS
    assert found.kpa_h == pytest.approx(AT_30_KPA / 4 / 3, rel=WITHIN)
