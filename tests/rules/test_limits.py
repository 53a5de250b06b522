"""Which limits hold in a room. The rule that the tenderest crop decides is the project's own."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rules.condition import Limit
from rules.limits import RoomLimit, tenderest
from rules.model import MINUTE_MS, Quantity, Side
from tests.support.rooms import CO2_HIGH, HUMIDITY_LOW, WARM, crop, limits, minute, text_limit

pytestmark = pytest.mark.pure


def test_an_empty_room_has_no_limits() -> None:
    empty = tenderest([], from_ms=minute(3))
    assert (empty.from_ms, dict(empty.limits)) == (minute(3), {})


def test_a_crop_s_text_limit_becomes_the_room_s_with_its_waits() -> None:
    one = crop({HUMIDITY_LOW: text_limit(80, wait=8, margin=3, recover=5, far=70, far_wait=3)})
    assert dict(tenderest([one], from_ms=0).limits) == {
        HUMIDITY_LOW: RoomLimit(
            near=Limit(side=Side.LOW, limit=80, wait_ms=8 * MINUTE_MS, recover_margin=3, recover_ms=5 * MINUTE_MS),
            far=Limit(side=Side.LOW, limit=70, wait_ms=3 * MINUTE_MS, recover_margin=3, recover_ms=5 * MINUTE_MS),
            crop=one,
        )
    }


def test_a_far_limit_without_a_wait_of_its_own_waits_as_long_as_the_near_one() -> None:
    far = tenderest([crop({WARM: text_limit(24, wait=8, far=30)})], from_ms=0).limits[WARM].far
    assert far is not None
    assert (far.limit, far.wait_ms, far.side) == (30, 8 * MINUTE_MS, Side.HIGH)


@pytest.mark.parametrize("turned", [False, True])
def test_the_limit_that_is_reached_first_counts_whatever_the_order(*, turned: bool) -> None:
    pins = crop({HUMIDITY_LOW: text_limit(85), WARM: text_limit(26)}, batch="pins")
    fruit = crop({HUMIDITY_LOW: text_limit(75), WARM: text_limit(22), CO2_HIGH: text_limit(1200)}, batch="fruit")
    chosen = tenderest([fruit, pins] if turned else [pins, fruit], from_ms=0).limits
    assert {key: (limit.near.limit, limit.crop.batch) for key, limit in chosen.items()} == {
        HUMIDITY_LOW: (85, "pins"),
        WARM: (22, "fruit"),
        CO2_HIGH: (1200, "fruit"),
    }


def test_a_crop_that_may_wake_outranks_a_tenderer_one_that_may_not() -> None:
    doubtful = crop({HUMIDITY_LOW: text_limit(90)}, batch="doubtful", wakes=False)
    known = crop({HUMIDITY_LOW: text_limit(80)}, batch="known")
    for crops in ([doubtful, known], [known, doubtful]):
        assert tenderest(crops, from_ms=0).limits[HUMIDITY_LOW].crop.batch == "known"
    assert tenderest([doubtful], from_ms=0).limits[HUMIDITY_LOW].crop.batch == "doubtful"


def test_of_two_crops_with_one_limit_the_first_is_named() -> None:
    twins = [crop({HUMIDITY_LOW: text_limit(80)}, batch=name) for name in ("first", "second")]
    assert tenderest(twins, from_ms=0).limits[HUMIDITY_LOW].crop.batch == "first"


def test_the_fingerprint_tells_whether_a_room_is_judged_as_before() -> None:
    before = limits({HUMIDITY_LOW: text_limit(80, far=70, far_wait=3), WARM: text_limit(24)})
    assert (
        before.fingerprint
        == limits({WARM: text_limit(24), HUMIDITY_LOW: text_limit(80, far=70, far_wait=3)}).fingerprint
    )
    assert before.fingerprint == replace(before, from_ms=minute(9)).fingerprint
    others = [
        limits({HUMIDITY_LOW: text_limit(80, far=70, far_wait=3)}),
        limits({HUMIDITY_LOW: text_limit(80, far=70, far_wait=2), WARM: text_limit(24)}),
        limits({HUMIDITY_LOW: text_limit(80), WARM: text_limit(24)}),
        limits({HUMIDITY_LOW: text_limit(80, far=70, far_wait=3), WARM: text_limit(24.5)}),
        limits({}),
    ]
    assert len({before.fingerprint, *(other.fingerprint for other in others)}) == len(others) + 1


def test_whether_a_crop_wakes_is_not_part_of_what_it_is_judged_by() -> None:
    asleep, awake = (crop({(Quantity.HUMIDITY, Side.LOW): text_limit(80)}, wakes=wakes) for wakes in (False, True))
    assert tenderest([asleep], from_ms=0).fingerprint == tenderest([awake], from_ms=0).fingerprint
