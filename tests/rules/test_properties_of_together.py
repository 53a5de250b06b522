"""What holds of every merging, whatever the troubles are. The rule is the project's own; no outside source."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.model import MINUTE_MS, Quantity, Side
from rules.together import Contacts, Measure, Trouble, measure, over, together
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

KINDS: Final = [(Quantity.HUMIDITY, Side.LOW), (Quantity.HUMIDITY, Side.HIGH), (Quantity.CO2, Side.HIGH)]
said = st.sampled_from([None, True, False])
contacts = st.builds(Contacts, mains=said, generator=said, water_pressure=said)
measures = st.builds(Measure, rooms=st.integers(2, 5), within_ms=st.integers(1, 20).map(lambda m: m * MINUTE_MS))


@st.composite
def troubles(draw: st.DrawFn) -> list[Trouble]:
    """Of a room either everything was told or nothing: it has one happening, which was told or not."""
    told = draw(st.frozensets(st.sampled_from("abcdefghij")))
    one = st.tuples(st.sampled_from("abcdefghij"), st.sampled_from(KINDS), st.integers(0, 60))
    return [
        Trouble(room=room, quantity=kind[0], side=kind[1], at_ms=at * MINUTE_MS, told=room in told)
        for room, kind, at in draw(st.lists(one, max_size=25))
    ]


@settings(STEADY, max_examples=150)
@given(troubles(), contacts, measures)
def test_every_failure_is_worth_its_name(some: list[Trouble], said: Contacts, by: Measure) -> None:
    for failure in together(some, contacts=said, by=by):
        mine = failure.troubles
        assert len({one.room for one in mine}) == len(mine) >= by.rooms
        assert not all(one.told for one in mine)
        assert set(mine) <= set(some)
        assert failure.power or len({one.kind for one in mine}) == 1
        assert not failure.power or said.mains is False
        assert all(b.at_ms - a.at_ms <= by.within_ms for a, b in pairwise(mine))


@settings(STEADY, max_examples=150)
@given(troubles(), contacts, measures)
def test_no_room_is_in_two_failures(some: list[Trouble], said: Contacts, by: Measure) -> None:
    in_one = [one.room for failure in together(some, contacts=said, by=by) for one in failure.troubles]
    assert len(in_one) == len(set(in_one))


@settings(STEADY, max_examples=150)
@given(troubles(), contacts, measures)
def test_what_is_left_alone_is_too_little_for_a_failure(some: list[Trouble], said: Contacts, by: Measure) -> None:
    merged = {one.room for failure in together(some, contacts=said, by=by) for one in failure.troubles}
    left = [one for one in some if one.room not in merged]
    for first in left:
        end_ms = first.at_ms + by.within_ms
        near = [one for one in left if one.kind == first.kind and first.at_ms <= one.at_ms <= end_ms]
        assert len({one.room for one in near}) < by.rooms or all(one.told for one in near)


@settings(STEADY, max_examples=80)
@given(troubles(), contacts, measures, st.randoms(use_true_random=False))
def test_the_order_in_which_troubles_are_listed_makes_no_difference(
    some: list[Trouble], said: Contacts, by: Measure, chance: object
) -> None:
    assert together(some[::-1], contacts=said, by=by) == together(some, contacts=said, by=by)


@settings(STEADY, max_examples=80)
@given(st.lists(st.none() | st.integers(0, 100), min_size=1, max_size=8), st.booleans(), st.integers(100, 10**8))
def test_all_is_said_only_of_all(ended: list[int | None], most_told: bool, now_ms: int) -> None:  # noqa: FBT001
    told = over(ended, most_told=most_told, now_ms=now_ms)
    assert (told == "all rooms are back") is (None not in ended)
    assert told != "most rooms are back" or len([at for at in ended if at is not None]) * 2 > len(ended)


@given(st.integers(-3, 60), st.integers(-3, 60))
def test_one_room_is_never_the_whole_farm(rooms: int, farm_rooms: int) -> None:
    assert measure(rooms=rooms, within_ms=1, farm_rooms=farm_rooms).rooms >= 2
