"""Crops that share a room. The cases are worked by hand beside each test; their figures are made up.

From outside comes Helly's theorem for the line (E. Helly 1923, from memory): intervals have a common point exactly
if every two of them have one. That the middle of the gap is least bad is checked against trying every value.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.limits import Crop
from rules.model import Quantity, Side
from rules.profile import Band
from rules.profile_limits import probe_accuracy
from rules.sharing import REACH, Grown, Share, Sharer, least_bad, sharers, sharing
from rules.stays import stays_in_order
from tests.support.rooms import band, crop, figure, profile, stage

pytestmark = pytest.mark.pure

T, H, C = Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.CO2
PINS = {T: Band(low=figure(10), target=figure(13), high=figure(16)), H: band(95, 100), C: band(high=1000)}
PINK = {T: Band(low=figure(20), target=figure(25), high=figure(30)), H: band(85, 95), C: band(high=1500)}


def grown(name: str, bands: dict[Quantity, Band], *, at: str = "fruiting", batch: str = "") -> Sharer:
    here = stage({}, name=at, bands=bands)
    return Sharer(batch=batch or f"{name}-1", profile=profile(here, name=name), stage=here)


def shared(quantity: Quantity, **bands: Band) -> Share:
    return sharing([grown(name, {quantity: wants}) for name, wants in bands.items()])[quantity]


def given_up(share: Share) -> dict[str, tuple[float | None, float | None]]:
    return {part.kind[0]: (part.gives_low, part.gives_high) for part in share.parts}


def suffers(share: Share) -> dict[str, tuple[Side | None, float]]:
    return {part.kind[0]: (part.side, part.shortfall) for part in share.parts}


# --- something in common -----------------------------------------------------------------------------------------


def test_what_two_crops_have_in_common_is_the_higher_low_to_the_lower_high() -> None:
    """By hand: 10-21 and 13-18 have 13-18; the wide one gives up 3 at each end, 6 of 11, the other 0."""
    share = shared(T, wide=band(10, 21), narrow=band(13, 18))

    assert (share.in_common, share.low, share.high, share.gap) == (True, 13, 18, 0)
    assert (share.low_from, share.high_from) == ((("narrow", 1, "fruiting"),), (("narrow", 1, "fruiting"),))
    assert given_up(share) == {"narrow": (0, 0), "wide": (3, 3)}
    assert suffers(share) == {"narrow": (None, 0), "wide": (None, 0)}
    assert [part.gives_share for part in share.parts] == [0, pytest.approx(6 / 11)]
    assert not share.clashes


def test_each_side_can_bind_by_another_crop() -> None:
    """By hand: 10-18 and 13-21 have 13-18; each gives up 3 degrees at one end."""
    share = shared(T, cool=band(10, 18), warm=band(13, 21))

    assert (share.low, share.high) == (13, 18)
    assert (share.low_from, share.high_from) == ((("warm", 1, "fruiting"),), (("cool", 1, "fruiting"),))
    assert given_up(share) == {"cool": (3, 0), "warm": (0, 3)}


def test_a_target_may_fall_outside_what_is_left() -> None:
    """By hand: of 10-21 with target 11 and 12-15 with target 14, 12-15 is left: 11 is out, 14 is in."""
    early = Band(low=figure(10), target=figure(11), high=figure(21))
    share = shared(T, a=early, b=Band(low=figure(12), target=figure(14), high=figure(15)), c=band(0, 30))

    assert [part.target_inside for part in share.parts] == [False, True, None]


def test_an_absent_edge_asks_for_nothing_and_may_be_given_one() -> None:
    """By hand: up to 1000 ppm and 600 ppm or more have 600-1000; each gets an edge that it did not have."""
    share = shared(C, mushrooms=band(high=1000), antlers=band(low=600))

    assert (share.in_common, share.low, share.high) == (True, 600, 1000)
    assert given_up(share) == {"antlers": (0, None), "mushrooms": (None, 0)}
    assert [part.gives_share for part in share.parts] == [None, None]


def test_with_one_side_only_the_other_stays_open() -> None:
    share = shared(C, strict=band(high=1000), easy=band(high=2000))

    assert (share.low, share.high, share.low_from) == (None, 1000, ())
    assert given_up(share) == {"easy": (0, 1000), "strict": (0, 0)}
    assert not share.is_narrow


def test_touching_edges_leave_one_value_which_is_hard_to_hold() -> None:
    """By hand: 90-95 and 95-100 have 95 alone, narrower than a probe good to 2 points can see."""
    share = shared(H, nameko=band(90, 95), pins=band(95, 100))

    assert (share.in_common, share.low, share.high) == (True, 95, 95)
    assert share.is_narrow
    assert not share.clashes
    assert [part.gives_share for part in share.parts] == [1, 1]


@pytest.mark.parametrize(("width", "narrow"), [(3.9, True), (4.0, False)])
def test_narrow_is_what_a_probe_may_be_off_either_way(width: float, *, narrow: bool) -> None:
    """By hand: twice 2 points of humidity (common practice) are 4."""
    assert shared(H, a=band(80, 90), b=band(90 - width, 100)).is_narrow is narrow


def test_batches_of_one_kind_are_one_part() -> None:
    crops = [grown("shiitake", PINS, at="pinning", batch=batch) for batch in ("SH-2", "SH-1")]

    share = sharing(crops)[T]

    (part,) = share.parts
    assert part.batches == ("SH-1", "SH-2")
    assert (share.low, share.high, part.gives_low, part.gives_high) == (10, 16, 0, 0)


def test_equal_edges_bind_together() -> None:
    share = shared(T, a=band(10, 16), b=band(10, 16))

    assert share.low_from == share.high_from == (("a", 1, "fruiting"), ("b", 1, "fruiting"))


def test_a_quantity_nobody_has_an_edge_for_is_not_listed() -> None:
    aims = grown("a", {T: Band(target=figure(20)), H: band(60)})

    assert list(sharing([aims, grown("b", {})])) == [H]
    assert sharing([]) == {}


# --- nothing in common -------------------------------------------------------------------------------------------


def test_pins_at_10_to_16_and_a_warm_crop_at_20_to_30_have_nothing_in_common() -> None:
    """By hand: the gap is 16 to 20, its middle 18; two times 0.5 degrees either way is 17-19.

    At 19 the pins stand 3 over their 16; at 17 the warm crop stands 3 under its 20. Both targets are out.
    """
    share = sharing([grown("shiitake", PINS, at="pinning"), grown("pink", PINK)])[T]

    assert (share.in_common, share.clashes, share.gap) == (False, True, 4)
    assert (share.low, share.high) == (17, 19)
    assert (share.low_from, share.high_from) == ((("pink", 1, "fruiting"),), (("shiitake", 1, "pinning"),))
    assert suffers(share) == {"pink": (Side.LOW, 3), "shiitake": (Side.HIGH, 3)}
    assert [part.target_inside for part in share.parts] == [False, False]
    assert not share.is_narrow


def test_a_low_co2_edge_can_clash_with_a_high_one() -> None:
    """By hand: at most 1000 and at least 2000 ppm: the middle is 1500, where a probe may be off by 125 (50 + 5 %).

    Twice that either way is 1250-1750; one stands up to 750 over its edge, the other up to 750 under.
    """
    share = shared(C, oyster=band(high=1000), enoki=band(low=2000, high=5000))

    assert (share.low, share.high, share.gap) == (1250, 1750, 1000)
    assert suffers(share) == {"enoki": (Side.LOW, 750), "oyster": (Side.HIGH, 750)}


def test_a_small_gap_is_the_least_bad_band_itself() -> None:
    """By hand: 16 and 17 are half a degree from 16.5, less than the reach of 1: so 16-17."""
    share = shared(T, a=band(10, 16), b=band(17, 21))

    assert (share.low, share.high) == (16, 17)
    assert suffers(share) == {"a": (Side.HIGH, 1), "b": (Side.LOW, 1)}


def test_of_three_crops_the_outer_two_decide_and_the_middle_one_suffers_nothing() -> None:
    """By hand: 10-16 meets 15-21, 15-21 meets 20-30, the outer two do not meet: 17-19 as for those alone.

    The middle crop has 17-19 inside its own band: it gives up 2 and 2 and suffers nothing.
    """
    share = shared(T, cool=band(10, 16), middle=band(15, 21), warm=band(20, 30))

    assert (share.in_common, share.low, share.high) == (False, 17, 19)
    assert suffers(share) == {"cool": (Side.HIGH, 3), "middle": (None, 0), "warm": (Side.LOW, 3)}
    assert given_up(share)["middle"] == (2, 2)


def test_a_third_crop_between_two_that_clash_suffers_less_than_they_do() -> None:
    """By hand: 10-16, 20-30 and 18.5-22: the least bad band stays 17-19; the third is at most 1.5 under."""
    share = shared(T, cool=band(10, 16), other=band(18.5, 22), warm=band(20, 30))

    assert (share.low, share.high) == (17, 19)
    assert suffers(share)["other"] == (Side.LOW, 1.5)


def test_a_crop_narrower_than_the_least_bad_band_stands_outside_on_the_farther_side() -> None:
    """By hand: 17.8-18.1 inside 17-19: 0.8 under at the low end, 0.9 over at the high end."""
    share = shared(T, cool=band(10, 16), tiny=band(17.8, 18.1), warm=band(20, 30))

    side, short = suffers(share)["tiny"]
    assert side is Side.HIGH
    assert short == pytest.approx(0.9)


def test_what_belongs_to_a_tank_or_a_block_does_not_clash_between_batches() -> None:
    share = shared(Quantity.SOAK_WATER, a=band(4, 8), b=band(12, 16))

    assert (share.in_common, share.clashes) == (False, False)


# --- who is there ------------------------------------------------------------------------------------------------


def test_the_crops_of_a_room_are_those_that_stand_there_at_the_moment() -> None:
    pins = stage({}, name="pinning", bands=PINS)
    kept = profile(pins, name="shiitake")
    row = {"profile": "shiitake", "version": 1, "stage": "pinning"}
    stays = stays_in_order(
        [
            {**row, "batch_id": "A", "room_id": "one", "valid_from_ms": 10},
            {**row, "batch_id": "A", "room_id": None, "valid_from_ms": 20},
            {**row, "batch_id": "B", "room_id": "two", "valid_from_ms": 5},
        ]
    )

    def there(at_ms: int) -> list[str]:
        return [s.batch for s in sharers(stays, {("shiitake", 1): kept}, "one", at_ms)]

    assert [there(at_ms) for at_ms in (9, 10, 19, 20)] == [[], ["A"], ["A"], []]


def test_a_crop_as_limits_know_it_can_share_as_well() -> None:
    known: Crop = crop({}, bands=PINS)

    assert sharing([known])[T].low == 10


# --- for every room ----------------------------------------------------------------------------------------------

tenths = st.integers(0, 400).map(lambda count: count / 10)


@st.composite
def bands(draw: st.DrawFn) -> Band:
    low, high = sorted(draw(st.lists(tenths, min_size=2, max_size=2, unique=True)))
    edges = draw(st.sampled_from(["both", "low", "high", "none"]))
    return band(low if edges in {"both", "low"} else None, high if edges in {"both", "high"} else None)


crops = st.lists(
    st.tuples(st.sampled_from("abcde"), st.sampled_from(["pinning", "fruiting"]), bands()),
    max_size=6,
    unique_by=lambda one: one[:2],
).map(lambda some: [grown(name, {T: wants}, at=at) for name, at, wants in some])


def holds(share: Share, value: float) -> bool:
    return (share.low is None or share.low <= value) and (share.high is None or value <= share.high)


def worst(some: Sequence[Grown], values: np.ndarray) -> np.ndarray:
    """The largest shortfall of any crop at each value."""
    short = np.zeros_like(values)
    for one in some:
        wants = one.stage.bands[T]
        if wants.low is not None:
            short = np.maximum(short, wants.low.value - values)
        if wants.high is not None:
            short = np.maximum(short, values - wants.high.value)
    return short


@given(crops, st.randoms(use_true_random=False))
def test_the_order_of_crops_does_not_matter(some: list[Sharer], random: object) -> None:
    turned = list(some)
    random.shuffle(turned)  # type: ignore[attr-defined]
    assert sharing(turned) == sharing(some)


@given(crops)
def test_what_is_in_common_lies_inside_every_band(some: list[Sharer]) -> None:
    share = sharing(some).get(T)
    if share is not None and share.in_common:
        for edge in (share.low, share.high):
            assert edge is None or worst(some, np.array([edge])) == 0
        for part in share.parts:
            assert part.side is None
            assert part.low is None or (share.low is not None and share.low >= part.low)
            assert part.high is None or (share.high is not None and share.high <= part.high)


@given(crops, bands())
def test_one_more_crop_never_widens_what_is_in_common(some: list[Sharer], more: Band) -> None:
    before = sharing(some).get(T)
    after = sharing([*some, grown("z", {T: more})]).get(T)
    if before is None or after is None:
        assert after is not None or before is None
        return
    if after.in_common:
        assert before.in_common
        for edge in (after.low, after.high):
            assert edge is None or holds(before, edge)
        assert before.low is None or after.low is not None
        assert before.high is None or after.high is not None


@given(crops)
def test_all_have_something_in_common_exactly_if_every_two_have(some: list[Sharer]) -> None:
    """Helly's theorem for the line."""
    share = sharing(some).get(T)
    pairs = [sharing(two).get(T) for two in combinations(some, 2)]
    assert (share is None or share.in_common) == all(pair is None or pair.in_common for pair in pairs)


@given(tenths, tenths)
def test_a_compromise_is_what_is_in_common_where_there_is_something(low: float, high: float) -> None:
    found = least_bad(T, low, high)
    if low <= high:
        assert found == (low, high)
    else:
        assert high <= found[0] <= found[1] <= low


@given(crops)
def test_the_middle_of_the_least_bad_band_is_the_least_bad_value(some: list[Sharer]) -> None:
    """Against trying every twentieth of a degree."""
    share = sharing(some).get(T)
    if share is None or share.in_common:
        return
    assert share.low is not None
    assert share.high is not None
    middle = (share.low + share.high) / 2
    everywhere = worst(some, np.arange(0, 40.01, 0.05))
    assert worst(some, np.array([middle]))[0] <= everywhere.min() + 1e-9
    assert share.high - share.low <= 2 * REACH * probe_accuracy(T, middle) + 1e-9


@given(crops)
def test_nobody_suffers_more_than_the_two_that_decide(some: list[Sharer]) -> None:
    share = sharing(some).get(T)
    if share is None or share.in_common:
        return
    most = max(part.shortfall for part in share.parts if part.kind in {*share.low_from, *share.high_from})
    for part in share.parts:
        assert part.shortfall <= most + 1e-9
        assert part.shortfall <= share.gap + 1e-9
