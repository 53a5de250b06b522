"""What readings of the last hour say of the air: which probe counts, and what is left open."""

from __future__ import annotations

import pytest

from rules.drying import Accuracy, drying_power
from rules.model import MINUTE_MS, ProbeId, Quantity, Reading
from service.reports.air import Air, air_now

pytestmark = pytest.mark.pure

NOW = 1_000 * MINUTE_MS


def heard(probe: str, quantity: Quantity, value: float, *, ago: int = 5) -> list[Reading]:
    """Two values 5 minutes apart, the newer so many minutes ago: they hold for 15."""
    at_ms = NOW - ago * MINUTE_MS
    return [
        Reading(probe=ProbeId(probe), quantity=quantity, at_ms=at_ms - back * MINUTE_MS, value=value)
        for back in (0, 5)
    ]


def air(*readings: list[Reading]) -> Air | None:
    places = {"door": "door end", "back": "back"}
    return air_now([r for part in readings for r in part], places=places, altitude_m=300.0, now_ms=NOW)


def test_each_probe_goes_with_its_own_temperature() -> None:
    found = air(
        heard("door", Quantity.TEMPERATURE, 12.0),
        heard("door", Quantity.HUMIDITY, 85.0),
        heard("back", Quantity.TEMPERATURE, 24.0),
        heard("back", Quantity.HUMIDITY, 90.0),
    )
    assert found is not None
    assert (found.place, found.several, found.borrowed) == ("back", True, False)
    assert found.drying_power == drying_power(24.0, 90.0, Accuracy(humidity_percent=2.0, temperature_k=0.5))


def test_a_borrowed_temperature_is_the_mean_and_less_certain() -> None:
    found = air(
        heard("left", Quantity.TEMPERATURE, 14.0),
        heard("right", Quantity.TEMPERATURE, 18.0),
        heard("back", Quantity.HUMIDITY, 90.0),
        heard("back", Quantity.CO2, 900.0),
    )
    assert found is not None
    assert (found.temperature_c, found.borrowed, found.several) == (16.0, True, False)
    assert found.drying_power == drying_power(16.0, 90.0, Accuracy(humidity_percent=2.0, temperature_k=1.5))


def test_more_than_saturated_counts_as_saturated() -> None:
    found = air(heard("door", Quantity.TEMPERATURE, 12.0), heard("door", Quantity.HUMIDITY, 103.0))
    assert found is not None
    assert found.drying_power.value == 0
    assert found.dew_point is not None
    assert found.dew_point.value == pytest.approx(12.0, abs=1e-3)


@pytest.mark.parametrize("silent", [Quantity.TEMPERATURE, Quantity.HUMIDITY])
def test_what_is_no_longer_held_says_nothing(silent: Quantity) -> None:
    other = Quantity.HUMIDITY if silent is Quantity.TEMPERATURE else Quantity.TEMPERATURE
    assert air(heard("door", silent, 20.0, ago=16), heard("door", other, 20.0)) is None
    assert air(heard("door", silent, 20.0, ago=14), heard("door", other, 20.0)) is not None


def test_what_lies_ahead_is_not_looked_at() -> None:
    assert air(heard("door", Quantity.TEMPERATURE, 12.0), heard("door", Quantity.HUMIDITY, 90.0, ago=-9)) is None
