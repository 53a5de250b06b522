"""From what was written down about batches to a room's limits over time. The rules are the project's own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from rules.limits import Hold, Why
from rules.model import LAST_INSTANT, MINUTE_MS, Quantity, Side
from rules.profile import Basis, Profile
from rules.schedule import Back, Growing, UsualMade, backs_of, schedule, usuals_of
from rules.stays import Stay, present, stays_in_order
from rules.usual import Usual
from tests.support.rooms import HUMIDITY_LOW, WARM, band, in_minutes, minute, profile, stage, text_limit

pytestmark = pytest.mark.pure

PINS = stage({HUMIDITY_LOW: text_limit(85)}, name="pinning")
FRUIT = stage({HUMIDITY_LOW: text_limit(78)}, name="fruiting")
READ = stage({HUMIDITY_LOW: text_limit(70)}, name="rest", bands={Quantity.HUMIDITY: band(75, basis=Basis.READ)})
SLOW = replace(stage({HUMIDITY_LOW: text_limit(90)}, name="cold"), ramp_ms=30 * MINUTE_MS)
WARMTH = stage({HUMIDITY_LOW: replace(text_limit(60), below_usual=12), WARM: text_limit(24)}, name="warm")
OYSTER: Profile = profile(PINS, FRUIT, READ, SLOW, WARMTH)


def _row(batch: str, room: str | None, stage_name: str, at: float) -> dict[str, Any]:
    return {
        "batch_id": batch,
        "room_id": room,
        "stage": stage_name,
        "profile": "oyster",
        "version": 1,
        "valid_from_ms": minute(at),
    }


def _growing(rows: Iterable[dict[str, Any]], *confirmed: str, **more: Any) -> Growing:
    return Growing(
        room_id="h1",
        stays=stays_in_order(list(rows)),
        profiles={("oyster", 1): OYSTER},
        confirmed={("oyster", 1, name): minute(-99) for name in confirmed},
        **more,
    )


def _low(growing: Growing, at: float) -> float:
    return growing.limits_at(minute(at)).limits[HUMIDITY_LOW].near.limit


def _working(start: float, end: float, **more: Any) -> Back:
    hold = Hold(why=Why.WORKING, from_ms=minute(start), until_ms=minute(end), who="Ana")
    return Back(**{"hold": hold, **more})


def _stay(**changes: Any) -> Stay:
    usual = Stay(
        batch="a",
        room_id="h1",
        stage="pinning",
        profile=("oyster", 1),
        from_ms=minute(0),
        to_ms=minute(10),
        stage_since_ms=minute(0),
        here_since_ms=minute(0),
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


def test_a_batch_is_here_since_it_came_to_this_room_at_this_stage() -> None:
    rows = [_row("a", "h1", "fruiting", 0), _row("a", "h2", "fruiting", 10), _row("a", "h2", "fruiting", 20)]
    assert [s.here_since_ms for s in stays_in_order(rows)] == [minute(0), minute(10), minute(10)]


def test_a_room_s_limits_change_whenever_a_batch_does() -> None:
    rows = [_row("a", "h1", "pinning", 0), _row("a", "h1", "fruiting", 10), _row("b", "h1", "pinning", 20)]
    rows = [rows[0], rows[1], _row("a", "h2", "fruiting", 40), rows[2], _row("b", "h2", "pinning", 50)]
    found = schedule(_growing(rows, "pinning", "fruiting"), since_ms=minute(-1))
    assert [
        (limits.from_ms, {key: (limit.near.limit, limit.crop.batch) for key, limit in limits.limits.items()})
        for limits in found
    ] == [
        (minute(-1), {}),
        (minute(0), {HUMIDITY_LOW: (85, "a")}),
        (minute(10), {HUMIDITY_LOW: (78, "a")}),
        (minute(20), {HUMIDITY_LOW: (85, "b")}),
        (minute(40), {HUMIDITY_LOW: (85, "b")}),
        (minute(50), {}),
    ]


def test_a_schedule_begins_with_what_holds_and_ends_where_it_is_asked_to() -> None:
    rows = [_row("a", "h1", "pinning", 0), _row("a", "h1", "fruiting", 10), _row("a", "h1", "rest", 20)]
    found = schedule(_growing(rows), since_ms=minute(5), until_ms=minute(10))
    assert [in_minutes(limits.from_ms) for limits in found] == [5, 10]
    assert [limits.limits[HUMIDITY_LOW].near.limit for limits in found] == [85, 78]


def test_a_room_that_never_had_a_batch_has_no_limits() -> None:
    assert [limits.limits for limits in schedule(_growing([]), since_ms=minute(0))] == [{}]


def test_a_crop_knows_its_stage_and_since_when() -> None:
    growing = _growing([_row("a", "h1", "pinning", 0), _row("a", "h1", "fruiting", 10)], "fruiting")
    (crop,) = growing.crops_at(minute(12))
    assert (crop.batch, crop.profile, crop.stage, crop.stage_since_ms, crop.wakes) == (
        "a",
        OYSTER,
        FRUIT,
        minute(10),
        True,
    )


def _wakes(growing: Growing, at: float) -> bool:
    (crop,) = growing.crops_at(minute(at))
    return crop.wakes


def test_figures_wake_nobody_until_a_person_stands_for_them() -> None:
    rows = [_row("a", "h1", "pinning", 0)]
    confirmed = replace(_growing(rows), confirmed={("oyster", 1, "pinning"): minute(30)})
    assert (_wakes(confirmed, 29), _wakes(confirmed, 30)) == (False, True)
    other = replace(confirmed, confirmed={("oyster", 2, "pinning"): 0, ("oyster", 1, "rest"): 0})
    assert not _wakes(other, 40)
    assert minute(30) in confirmed.moments()


def test_figures_that_were_all_read_in_a_source_stand_for_themselves() -> None:
    assert _wakes(_growing([_row("a", "h1", "rest", 0)]), 0)


def test_a_room_wakes_nobody_before_its_first_days_are_over() -> None:
    new = _growing([_row("a", "h1", "rest", 0)], wakes_from_ms=minute(100))
    assert (_wakes(new, 99), _wakes(new, 100)) == (False, True)
    assert minute(100) in new.moments()


def test_a_stage_gives_the_room_time_to_get_there() -> None:
    growing = _growing([_row("a", "h1", "pinning", 0), _row("a", "h1", "cold", 10)])
    assert growing.limits_at(minute(9)).holds == {}
    (hold,) = growing.limits_at(minute(10)).holds.values()
    assert (hold.why, hold.who, in_minutes(hold.until_ms)) == (Why.STAGE, "a", 40)
    assert _low(growing, 39) == 90
    assert growing.limits_at(minute(40)).holds == {}
    assert minute(40) in growing.moments()


def test_a_crop_that_was_there_already_goes_on_speaking_while_another_is_on_its_way() -> None:
    growing = _growing([_row("a", "h1", "warm", 0), _row("b", "h1", "cold", 10)])
    before = growing.limits_at(minute(20))
    assert (before.limits[HUMIDITY_LOW].near.limit, before.holds) == (60, {})
    assert _low(growing, 40) == 90


def test_working_holds_back_everything_and_a_leave_what_it_names() -> None:
    warm = [_row("a", "h1", "warm", 0)]
    working = _growing(warm, backs=(_working(5, 15),))
    assert [len(working.limits_at(minute(at)).holds) for at in (4, 5, 14, 15)] == [0, 2, 2, 0]
    assert {minute(5), minute(15)} <= set(working.moments())
    left = Hold(why=Why.LEFT, from_ms=minute(0), until_ms=minute(60), who="Ben")
    dry = Back(hold=left, quantity=Quantity.HUMIDITY, side=Side.LOW)
    assert _growing(warm, backs=(dry,)).limits_at(minute(10)).holds == {HUMIDITY_LOW: left}
    both = _growing(warm, backs=(dry, _working(5, 15))).limits_at(minute(10)).holds
    assert {key: hold.why for key, hold in both.items()} == {HUMIDITY_LOW: Why.LEFT, WARM: Why.WORKING}


def test_nothing_is_held_back_in_an_empty_room() -> None:
    assert _growing([], backs=(_working(0, 10),)).limits_at(minute(5)).holds == {}


def _usual(start: float, end: float, value: float | None) -> Usual:
    span = {"from_ms": minute(start), "until_ms": minute(end)}
    return Usual(quantity=Quantity.HUMIDITY, steps=((minute(start), value),), **span)


def test_a_fall_below_what_is_usual_speaks_while_the_same_grows_there() -> None:
    made = (
        UsualMade(made_ms=minute(5), usual=_usual(10, 60, 92)),
        UsualMade(made_ms=minute(25), usual=_usual(30, 60, 95)),
    )
    growing = _growing([_row("a", "h1", "warm", 0), _row("a", "h1", "pinning", 50)], usuals=made)
    assert [_low(growing, at) for at in (9, 10, 30, 50, 60)] == [60, 80, 83, 85, 85]
    assert growing.limits_at(minute(10)).limits[HUMIDITY_LOW].usual == 92
    assert {minute(10), minute(30), minute(60)} <= set(growing.moments())
    again = _growing([_row("a", "h1", "pinning", 0), _row("a", "h1", "warm", 8)], usuals=made)
    assert [_low(again, at) for at in (10, 30)] == [60, 83], "the first was made of another stage"


def test_what_is_usual_is_not_asked_while_a_stage_begins() -> None:
    made = (UsualMade(made_ms=minute(5), usual=_usual(10, 60, 92)),)
    growing = _growing([_row("a", "h1", "warm", 0), _row("b", "h1", "cold", 10)], usuals=made)
    assert _low(growing, 20) == 60


@dataclass(frozen=True, kw_only=True)
class _Kept:
    """A hold or a usual value as somebody keeps it."""

    quantity: Any = None
    side: Side | None = None
    kind: str = "working"
    from_ms: int = 0
    end_ms: int = 0
    until_ms: int = 0
    made_ms: int = 0
    who: str = "Ana"
    steps: tuple[tuple[int, float | None], ...] = ()


def test_what_was_written_down_is_taken_over_and_an_empty_hold_is_none() -> None:
    rows = [
        _Kept(from_ms=minute(0), end_ms=minute(5)),
        _Kept(from_ms=minute(5), end_ms=minute(5)),
        _Kept(kind="leave", quantity=Quantity.HUMIDITY, side=Side.LOW, from_ms=minute(1), end_ms=minute(2)),
    ]
    found = backs_of(rows)
    assert [(b.hold.why, b.quantity, in_minutes(b.hold.until_ms)) for b in found] == [
        (Why.WORKING, None, 5),
        (Why.LEFT, Quantity.HUMIDITY, 2),
    ]
    kept = _Kept(quantity=Quantity.HUMIDITY, made_ms=4, from_ms=5, until_ms=9, steps=((5, 92.0),))
    (made,) = usuals_of([kept])
    assert (made.made_ms, made.usual.at(6), made.usual.at(9)) == (4, 92.0, None)


def test_moments_lie_after_one_and_up_to_another() -> None:
    growing = _growing([_row("a", "h1", "pinning", 10), _row("a", "h1", "rest", 20)])
    assert growing.moments(after_ms=minute(10), until_ms=LAST_INSTANT) == [minute(20)]
    assert growing.moments(after_ms=minute(9), until_ms=minute(10)) == [minute(10)]
