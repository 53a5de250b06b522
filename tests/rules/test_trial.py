"""Limits and waits to be tried are written in a few words of our own, and change nothing but what they name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.limits import RoomLimits
from rules.model import MINUTE_MS, Quantity, Side
from rules.trial import Trial, TrialError, read_limit, read_wait, tried
from tests.support.rooms import HUMIDITY_LOW, WARM, limits, minute, text_limit

pytestmark = pytest.mark.pure

ROOM = limits({HUMIDITY_LOW: text_limit(85, far=75, far_wait=2), WARM: text_limit(18)})


def test_a_limit_is_a_quantity_a_side_and_a_figure() -> None:
    assert read_limit("humidity-low=80") == Trial(key=HUMIDITY_LOW, limit=80.0)
    assert read_limit(" temperature-high=-3.5 ") == Trial(key=WARM, limit=-3.5)
    assert read_limit("water_pressure-low=1") == Trial(key=(Quantity.WATER_PRESSURE, Side.LOW), limit=1.0)


def test_a_wait_is_in_minutes() -> None:
    assert read_wait("humidity-low=12.5") == Trial(key=HUMIDITY_LOW, wait_ms=750_000)


@pytest.mark.parametrize(
    "text",
    ["", "humidity", "humidity-low", "humidity=80", "humidity<80", "humidity-low=", "humidity-low=eighty",
     "humidity-people=80", "wetness-low=80", "humidity-low=80+5", "humidity-low=1e3", "humidity-low=80 or 70"],
)  # fmt: skip
def test_anything_else_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(TrialError, match="like humidity-low=80"):
        read_limit(text)


@pytest.mark.parametrize("text", ["humidity-low=101", "humidity-low=-1", "co2-high=200000", "temperature-low=-90"])
def test_a_figure_that_its_quantity_cannot_have_is_refused(text: str) -> None:
    with pytest.raises(TrialError, match="impossible"):
        read_limit(text)


@pytest.mark.parametrize("text", ["humidity-low=-1", "humidity-low=1441"])
def test_a_wait_is_at_most_a_day(text: str) -> None:
    with pytest.raises(TrialError, match="from 0 to 1440 minutes"):
        read_wait(text)


def test_only_what_is_named_changes() -> None:
    found = tried([ROOM], [read_limit("humidity-low=80"), read_wait("humidity-low=3")])[0]

    before, after = ROOM.limits[HUMIDITY_LOW], found.limits[HUMIDITY_LOW]
    assert after == replace(before, near=replace(before.near, limit=80.0, wait_ms=3 * MINUTE_MS))
    assert found.limits[WARM] == ROOM.limits[WARM]
    assert found.fingerprint != ROOM.fingerprint


def test_a_tried_limit_holds_whatever_is_usual_and_a_tried_wait_leaves_the_usual_limit() -> None:
    usual = replace(ROOM.limits[HUMIDITY_LOW], usual=95.0)
    room = replace(ROOM, limits={HUMIDITY_LOW: usual})

    assert tried([room], [read_limit("humidity-low=80")])[0].limits[HUMIDITY_LOW].usual is None
    assert tried([room], [read_wait("humidity-low=1")])[0].limits[HUMIDITY_LOW].usual == 95.0


def test_a_limit_that_the_room_does_not_have_stays_absent() -> None:
    bare = RoomLimits(from_ms=minute(0), limits={})
    assert tried([bare, ROOM], [read_limit("co2-high=1500")]) == (bare, ROOM)
