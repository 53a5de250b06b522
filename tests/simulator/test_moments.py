"""Moments on paper and on the wire."""

from __future__ import annotations

import pytest

from simulator.farm import DEMO_EVENING_MS
from simulator.moments import farm_clock, farm_time, from_the_wire, on_the_wire, real_time

pytestmark = pytest.mark.pure


def test_the_demo_starts_at_ten_to_ten_in_the_evening() -> None:
    assert farm_time(DEMO_EVENING_MS) == "2026-11-17 21:50:00"
    assert farm_clock(DEMO_EVENING_MS) == "21:50:00"
    assert real_time(DEMO_EVENING_MS) == "2026-11-18 02:50:00"


@pytest.mark.parametrize("at_ms", [0, DEMO_EVENING_MS, DEMO_EVENING_MS + 1, DEMO_EVENING_MS + 999])
def test_a_moment_comes_back_from_the_wire_to_the_millisecond(at_ms: int) -> None:
    assert from_the_wire(on_the_wire(at_ms)) == at_ms


# ISO 8601 and RFC 3339 section 4.3: Z is the offset zero.
@pytest.mark.parametrize("spelling", ["1970-01-01T00:00:01.500Z", "1970-01-01T01:00:01.500+01:00"])
def test_any_offset_is_understood(spelling: str) -> None:
    assert from_the_wire(spelling) == 1500


def test_a_moment_without_an_offset_is_refused() -> None:
    with pytest.raises(ValueError, match="offset"):
        from_the_wire("2026-11-17T21:50:00")
