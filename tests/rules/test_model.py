"""The values that all rules exchange refuse what cannot be true."""

from __future__ import annotations

import math

import pytest

from rules.model import CONTACTS, FIRST_INSTANT, LAST_INSTANT, UNIT, ProbeId, Quantity, Reading

pytestmark = pytest.mark.pure


def _reading(value: float, at_ms: int) -> Reading:
    return Reading(probe=ProbeId("p"), quantity=Quantity.HUMIDITY, at_ms=at_ms, value=value)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="p/humidity is not a finite number"):
        _reading(value, 0)


@pytest.mark.parametrize("at_ms", [FIRST_INSTANT - 1, LAST_INSTANT + 1])
def test_a_moment_that_cannot_be_kept_is_refused(at_ms: int) -> None:
    with pytest.raises(ValueError, match="time outside 1970 to 9999"):
        _reading(1.0, at_ms)


@pytest.mark.parametrize("at_ms", [FIRST_INSTANT, LAST_INSTANT])
def test_the_first_and_the_last_moment_can_be_kept(at_ms: int) -> None:
    assert _reading(1.0, at_ms).at_ms == at_ms


def test_a_quantity_has_a_unit_or_is_a_contact() -> None:
    assert CONTACTS | set(UNIT) == set(Quantity)
    assert not CONTACTS & set(UNIT)
    assert Quantity.DOOR in CONTACTS
