"""How long a stated compromise stands. The rule is the project's own; the cases are worked by hand."""

from __future__ import annotations

import json
from collections.abc import Mapping

import pytest

from rules.compromise import (
    Compromises,
    Shares,
    Stated,
    compromises_in,
    covers,
    follow,
    from_facts,
    stated_rows,
    to_facts,
    with_compromises,
)
from rules.model import Quantity
from rules.profile import Band
from rules.sharing import Sharer, sharing
from rules.stays import stays_in_order
from tests.support.rooms import COLD as COLD_SIDE
from tests.support.rooms import HUMIDITY_LOW, band, limits, profile, stage, text_limit
from tests.support.rooms import WARM as WARM_SIDE

pytestmark = pytest.mark.pure

T, H = Quantity.TEMPERATURE, Quantity.HUMIDITY


def crop(name: str, bands: Mapping[Quantity, Band], batch: str = "1") -> Sharer:
    here = stage({}, bands=bands)
    return Sharer(batch=f"{name}-{batch}", profile=profile(here, name=name), stage=here)


COOL = crop("cool", {T: band(10, 16)})
WARM = crop("warm", {T: band(20, 30)})
HOT = crop("hot", {T: band(25, 35)})
BOTH = crop("both", {T: band(10, 30)})
MOIST = crop("moist", {H: band(80, 90)})


def said(at_ms: int, *crops: Sharer, recorded_ms: int = 0, who: str = "Ines") -> Stated:
    return Stated(from_ms=at_ms, recorded_ms=recorded_ms, who=who, share=sharing(crops)[T])


def follow_room(stated: list[Stated], history: Mapping[int, tuple[Sharer, ...]]) -> Compromises:
    def shares_at(at_ms: int) -> Shares:
        return sharing(history[max(at for at in history if at <= at_ms)])

    return follow(stated, changes=history, shares_at=shares_at)


def who_at(kept: Compromises, at_ms: int) -> str | None:
    found = kept.at(at_ms).get(T)
    return None if found is None else found.who


def test_it_stands_from_its_moment_until_further_notice() -> None:
    kept = follow_room([said(10, COOL, WARM)], {0: (COOL,), 10: (COOL, WARM)})

    assert [who_at(kept, at) for at in (9, 10, 10_000)] == [None, "Ines", "Ines"]
    assert kept.moments() == {10}


def test_it_ends_when_what_is_left_has_something_in_common_and_does_not_come_back() -> None:
    history = {10: (COOL, WARM), 20: (COOL,), 30: (COOL, WARM)}
    kept = follow_room([said(10, COOL, WARM)], history)

    assert [who_at(kept, at) for at in (10, 19, 20, 30)] == ["Ines", "Ines", None, None]
    assert kept.moments() == {10, 20}


def test_another_kind_ends_it() -> None:
    kept = follow_room([said(10, COOL, WARM)], {10: (COOL, WARM), 20: (COOL, WARM, BOTH)})

    assert [who_at(kept, at) for at in (19, 20)] == ["Ines", None]


def test_more_of_the_same_kind_and_what_has_no_band_of_it_change_nothing() -> None:
    second = crop("cool", {T: band(10, 16)}, batch="2")
    kept = follow_room([said(10, COOL, WARM)], {10: (COOL, WARM), 20: (COOL, second, WARM, MOIST)})

    assert who_at(kept, 20) == "Ines"


def test_it_goes_on_for_those_left_while_they_have_nothing_in_common() -> None:
    kept = follow_room([said(10, COOL, WARM, HOT)], {10: (COOL, WARM, HOT), 20: (COOL, HOT), 30: (WARM, HOT)})

    assert [who_at(kept, at) for at in (20, 29, 30)] == ["Ines", "Ines", None]


def test_one_that_never_fitted_never_stands() -> None:
    """A slip put right: the batch written down for that moment was another."""
    kept = follow_room([said(10, COOL, WARM)], {10: (COOL, HOT)})

    assert who_at(kept, 10) is None


def test_of_several_the_one_that_begins_last_counts_then_the_newest() -> None:
    stated = [
        said(10, COOL, WARM, recorded_ms=5, who="new"),
        said(10, COOL, WARM, recorded_ms=3, who="old"),
        said(20, COOL, WARM, recorded_ms=1, who="later"),
    ]
    kept = follow_room(stated, {10: (COOL, WARM), 20: (COOL, WARM)})

    assert [who_at(kept, at) for at in (10, 20)] == ["new", "later"]


def test_a_quantity_nobody_has_a_band_for_is_not_covered() -> None:
    assert not covers(said(0, COOL, WARM), sharing([MOIST]))


def test_facts_come_back_from_json_as_they_were() -> None:
    share = sharing([COOL, WARM, BOTH])[T]
    facts = json.loads(json.dumps(to_facts(share)))

    assert from_facts(facts) == share
    (read,) = stated_rows([{"from_ms": 1, "recorded_ms": 2, "who": "Ines", "facts": facts, "low": 17.0}])
    assert read == Stated(from_ms=1, recorded_ms=2, who="Ines", share=share)


def test_rows_are_followed_through_the_stays_of_the_room() -> None:
    """By hand: both stand there from 10, the warm one leaves at 20."""
    row = {"version": 1, "stage": "fruiting", "room_id": "one", "valid_from_ms": 10}
    gone = {**row, "batch_id": "w", "profile": "warm", "room_id": None, "valid_from_ms": 20}
    both = [{**row, "batch_id": "c", "profile": "cool"}, {**row, "batch_id": "w", "profile": "warm"}]
    facts = to_facts(sharing([COOL, WARM])[T])
    kept = compromises_in(
        [{"from_ms": 10, "recorded_ms": 10, "who": "Ines", "facts": facts}],
        room_id="one",
        stays=stays_in_order([*both, gone]),
        profiles={("cool", 1): COOL.profile, ("warm", 1): WARM.profile},
    )

    assert [who_at(kept, at) for at in (9, 10, 19, 20)] == [None, "Ines", "Ines", None]


# --- text limits under a compromise ----------------------------------------------------------------------------


def limits_under(*stated: Stated) -> dict[str, tuple[float, float | None]]:
    """Near and far limits of a room in which cool and warm crops stand, and something moist."""
    room = limits(
        {
            WARM_SIDE: text_limit(18, margin=1, far=21),
            COLD_SIDE: text_limit(16, margin=1, far=12),
            HUMIDITY_LOW: text_limit(75),
        }
    )
    found = with_compromises(room, {one.share.quantity: one for one in stated})
    assert (found is room) == (found.limits == room.limits)
    return {
        f"{quantity} {side}": (held.near.limit, None if held.far is None else held.far.limit)
        for (quantity, side), held in found.limits.items()
    }


def test_a_text_limit_inside_the_stated_band_moves_out_and_takes_its_far_limit_along() -> None:
    """By hand: 17-19 degC is stated. High 18 lies inside: it moves to 19 + 0.5 + 1 = 20.5, so 21 goes to 23.5.

    Low 16 is too near: 17 - 0.5 - 1 = 15.5, so 12 goes to 11.5. Humidity was not stated.
    """
    assert limits_under(said(0, COOL, WARM)) == {
        "temperature high": (20.5, 23.5),
        "temperature low": (15.5, 11.5),
        "humidity low": (75, None),
    }


def test_without_a_compromise_text_limits_stay() -> None:
    assert limits_under() == {
        "temperature high": (18, 21),
        "temperature low": (16, 12),
        "humidity low": (75, None),
    }


def test_a_text_limit_far_enough_outside_stays_and_one_without_a_far_limit_moves_alone() -> None:
    """By hand: cool and hot crops meet least badly at 16 + 9/2 = 20.5, 1 either way: 19.5-21.5.

    High 18 moves to 21.5 + 1.5 = 23; low 16 is 3.5 outside and stays.
    """
    room = limits({WARM_SIDE: text_limit(18, margin=1), COLD_SIDE: text_limit(16, margin=1)})
    found = with_compromises(room, {T: said(0, COOL, HOT)}).limits

    assert (found[WARM_SIDE].near.limit, found[WARM_SIDE].far) == (23, None)
    assert found[COLD_SIDE] is room.limits[COLD_SIDE]


def test_a_side_without_an_edge_moves_nothing() -> None:
    """A stated share of which only one side is a figure: it cannot come of a clash, and does no harm."""
    open_low = Stated(from_ms=0, recorded_ms=0, who="Ines", share=sharing([crop("c", {T: band(high=17)})])[T])
    room = limits({COLD_SIDE: text_limit(16, margin=1)})

    assert with_compromises(room, {T: open_low}) is room
