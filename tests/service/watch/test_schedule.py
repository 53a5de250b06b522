"""From what was written down about batches to a room's limits over time. The rules are the project's own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from rules.model import Quantity
from rules.profile import Basis, Profile
from service.storage.rooms import COOLER
from service.storage.rows import Record
from service.watch.schedule import Growing, Stay, crops_at, present, schedule, stays_in_order, wakes
from tests.support.rooms import HUMIDITY_LOW, band, minute, profile, stage, text_limit

pytestmark = pytest.mark.pure

PINS = stage({HUMIDITY_LOW: text_limit(85)}, name="pinning")
FRUIT = stage({HUMIDITY_LOW: text_limit(78)}, name="fruiting")
READ = stage({HUMIDITY_LOW: text_limit(70)}, name="rest", bands={Quantity.HUMIDITY: band(75, basis=Basis.READ)})
OYSTER: Profile = profile(PINS, FRUIT, READ)
HOUSE: Record = {"room_id": "h1", "kind": "fruiting", "first_days_end_ms": 0}


def _row(batch: str, room: str | None, stage_name: str, at: float) -> Record:
    return {
        "batch_id": batch,
        "room_id": room,
        "stage": stage_name,
        "profile": "oyster",
        "version": 1,
        "valid_from_ms": minute(at),
    }


def _growing(rows: Iterable[Record], *confirmed: str) -> Growing:
    return Growing(
        stays=stays_in_order(list(rows)),
        profiles={("oyster", 1): OYSTER},
        confirmed={("oyster", 1, name) for name in confirmed},
    )


def _stay(**changes: Any) -> Stay:
    usual = Stay(
        batch="a",
        room_id="h1",
        stage="pinning",
        profile=("oyster", 1),
        from_ms=minute(0),
        to_ms=minute(10),
        stage_since_ms=minute(0),
    )
    return replace(usual, **changes)


def test_a_stay_holds_until_the_batch_s_next_one() -> None:
    stays = stays_in_order(
        [_row("a", "h1", "pinning", 0), _row("a", "h1", "fruiting", 10), _row("a", None, "rest", 30)]
    )
    assert [(s.from_ms, s.to_ms, s.room_id, s.stage) for s in stays] == [
        (minute(0), minute(10), "h1", "pinning"),
        (minute(10), minute(30), "h1", "fruiting"),
        (minute(30), None, None, "rest"),
    ]


def test_a_stage_lasts_through_a_move_to_another_room_and_begins_anew_when_it_comes_again() -> None:
    stays = stays_in_order(
        [
            _row("a", "h1", "fruiting", 0),
            _row("a", "h2", "fruiting", 10),
            _row("a", "h2", "rest", 20),
            _row("a", "h2", "fruiting", 30),
        ]
    )
    assert [s.stage_since_ms for s in stays] == [minute(0), minute(0), minute(20), minute(30)]


def test_of_two_stays_from_one_moment_the_one_recorded_later_counts() -> None:
    stays = stays_in_order([_row("a", "h1", "pinning", 0), _row("a", "h1", "rest", 0)])
    assert [(s.stage, s.to_ms) for s in stays] == [("rest", None)]


def test_batches_do_not_end_each_other_s_stays() -> None:
    stays = stays_in_order([_row("a", "h1", "pinning", 0), _row("b", "h1", "rest", 5)])
    assert [(s.batch, s.to_ms) for s in stays] == [("a", None), ("b", None)]


def test_present_is_who_has_come_and_not_yet_gone() -> None:
    here, gone, elsewhere = _stay(), _stay(batch="b", to_ms=minute(5)), _stay(batch="c", room_id="h2")
    for_good = _stay(batch="d", to_ms=None)
    stays = [here, gone, elsewhere, for_good]
    assert present(stays, "h1", minute(0)) == [here, gone, for_good]
    assert present(stays, "h1", minute(5)) == [here, for_good]
    assert present(stays, "h1", minute(10)) == [for_good]
    assert present(stays, "h1", minute(-1)) == []


def test_a_room_s_limits_change_whenever_a_batch_does() -> None:
    rows = [_row("a", "h1", "pinning", 0), _row("a", "h1", "fruiting", 10), _row("b", "h1", "pinning", 20)]
    rows = [rows[0], rows[1], _row("a", "h2", "fruiting", 40), rows[2], _row("b", "h2", "pinning", 50)]
    found = schedule(HOUSE, _growing(rows, "pinning", "fruiting"), now_ms=minute(60))
    assert [
        (limits.from_ms, {key: (limit.near.limit, limit.crop.batch) for key, limit in limits.limits.items()})
        for limits in found
    ] == [
        (minute(0), {HUMIDITY_LOW: (85, "a")}),
        (minute(10), {HUMIDITY_LOW: (78, "a")}),
        (minute(20), {HUMIDITY_LOW: (85, "b")}),
        (minute(40), {HUMIDITY_LOW: (85, "b")}),
        (minute(50), {}),
    ]


def test_a_room_that_never_had_a_batch_has_no_limits() -> None:
    assert schedule(HOUSE, _growing([]), now_ms=minute(0)) == ()


def test_a_crop_knows_its_stage_and_since_when() -> None:
    growing = _growing([_row("a", "h1", "pinning", 0), _row("a", "h1", "fruiting", 10)], "fruiting")
    (crop,) = crops_at(HOUSE, growing, minute(12), minute(12))
    assert (crop.batch, crop.profile, crop.stage, crop.stage_since_ms, crop.wakes) == (
        "a",
        OYSTER,
        FRUIT,
        minute(10),
        True,
    )


def test_figures_that_nobody_stands_for_wake_nobody() -> None:
    assert not wakes(HOUSE, PINS, _stay(), frozenset(), minute(0))
    assert wakes(HOUSE, PINS, _stay(), {("oyster", 1, "pinning")}, minute(0))
    assert not wakes(HOUSE, PINS, _stay(), {("oyster", 2, "pinning"), ("oyster", 1, "rest")}, minute(0))


def test_figures_that_were_all_read_in_a_source_stand_for_themselves() -> None:
    assert wakes(HOUSE, READ, _stay(stage="rest"), frozenset(), minute(0))


def test_a_room_in_its_first_days_wakes_nobody_and_a_cooler_has_none() -> None:
    new = {**HOUSE, "first_days_end_ms": minute(100)}
    assert not wakes(new, READ, _stay(), frozenset(), minute(99))
    assert wakes(new, READ, _stay(), frozenset(), minute(100))
    assert wakes({**new, "kind": COOLER}, READ, _stay(), frozenset(), minute(0))
    assert not wakes({**new, "kind": COOLER}, PINS, _stay(), frozenset(), minute(0))
