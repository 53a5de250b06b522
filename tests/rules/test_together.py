"""What is one failure of the whole farm. The rule is the project's own judgement; there is no outside source."""

from __future__ import annotations

import pytest

from rules.model import MINUTE_MS, Quantity, Side
from rules.together import (
    LEFT_MS,
    Contacts,
    Failure,
    Likely,
    Measure,
    Ongoing,
    Over,
    Trouble,
    joins,
    measure,
    over,
    together,
)

pytestmark = pytest.mark.pure

DRY, STALE, WARM, COLD, WET = (
    (Quantity.HUMIDITY, Side.LOW),
    (Quantity.CO2, Side.HIGH),
    (Quantity.TEMPERATURE, Side.HIGH),
    (Quantity.TEMPERATURE, Side.LOW),
    (Quantity.HUMIDITY, Side.HIGH),
)
THREE = Measure(rooms=3, within_ms=10 * MINUTE_MS)
QUIET = Contacts()
MAINS_OFF = Contacts(mains=False)


def trouble(room: str, at: float, kind: tuple[Quantity, Side] = DRY, *, told: bool = False) -> Trouble:
    return Trouble(room=room, quantity=kind[0], side=kind[1], at_ms=round(at * MINUTE_MS), told=told)


def rooms(failures: tuple[Failure, ...]) -> list[str]:
    return ["".join(one.room for one in failure.troubles) for failure in failures]


def found(*troubles: Trouble, contacts: Contacts = QUIET, by: Measure = THREE) -> list[str]:
    return rooms(together(troubles, contacts=contacts, by=by))


def test_three_rooms_with_the_same_trouble_within_ten_minutes_are_one_failure() -> None:
    assert found(trouble("a", 0), trouble("b", 5), trouble("c", 10)) == ["abc"]


@pytest.mark.parametrize(
    "three",
    [
        (trouble("a", 0), trouble("b", 5)),
        (trouble("a", 0), trouble("b", 5), trouble("c", 10.5)),
        (trouble("a", 0), trouble("b", 5), trouble("c", 6, WET)),
        (trouble("a", 0), trouble("b", 5), trouble("c", 6, STALE)),
        (trouble("a", 0), trouble("a", 5), trouble("b", 6)),
    ],
    ids=["two", "too late", "other side", "other quantity", "the same room again"],
)
def test_anything_less_goes_on_room_by_room(three: tuple[Trouble, ...]) -> None:
    assert found(*three) == []


def test_what_is_not_part_of_it_stays_alone() -> None:
    assert found(*(trouble(room, 0) for room in "abc"), trouble("d", 1, STALE)) == ["abc"]


def test_rooms_that_follow_one_after_the_other_belong_to_it() -> None:
    early = [trouble(room, at) for room, at in (("a", 0), ("b", 1), ("c", 2))]
    assert found(*early, trouble("d", 11), trouble("e", 20), trouble("f", 31)) == ["abcde"]


def test_two_failures_hours_apart_are_two() -> None:
    assert found(*(trouble(room, 0) for room in "abc"), *(trouble(room, 90) for room in "defg")) == ["defg", "abc"]


def test_a_room_is_in_one_failure_only() -> None:
    both = [trouble(room, at, kind) for room in "abc" for at, kind in ((0, DRY), (1, STALE))]
    assert found(*both) == ["abc"]


def test_what_was_told_already_counts_as_long_as_somebody_was_not_told() -> None:
    told = [trouble("a", 0, told=True), trouble("b", 1, told=True)]
    assert found(*told, trouble("c", 2)) == ["abc"]
    assert found(*told, trouble("c", 2, told=True)) == []


def test_with_the_mains_off_rooms_in_different_trouble_are_one_failure() -> None:
    mixed = (trouble("a", 0), trouble("b", 1, STALE), trouble("c", 2, COLD))
    assert found(*mixed) == []
    (failure,) = together(mixed, contacts=MAINS_OFF, by=THREE)
    assert (rooms((failure,)), failure.power, failure.kind, failure.known) == (["abc"], True, None, True)


def test_with_the_mains_off_too_few_rooms_are_still_told_alone() -> None:
    assert found(trouble("a", 0), trouble("b", 1, STALE), contacts=MAINS_OFF) == []


@pytest.mark.parametrize(
    ("generator", "likely"), [(None, Likely.POWER), (False, Likely.GENERATOR), (True, Likely.TRANSFER)]
)
def test_what_the_generator_says_tells_where_to_look(generator: bool | None, likely: Likely) -> None:  # noqa: FBT001
    (failure,) = together(
        [trouble(room, 0) for room in "abc"], contacts=Contacts(mains=False, generator=generator), by=THREE
    )
    assert failure.likely is likely


@pytest.mark.parametrize(
    ("kind", "likely"),
    [
        (DRY, Likely.WATER),
        (STALE, Likely.FRESH_AIR),
        (WARM, Likely.HEAT),
        (COLD, Likely.COLD),
        (WET, Likely.UNCLEAR),
    ],
)
def test_the_trouble_they_share_tells_where_to_look(kind: tuple[Quantity, Side], likely: Likely) -> None:
    (failure,) = together([trouble(room, 0, kind) for room in "abc"], contacts=Contacts(mains=True), by=THREE)
    assert (failure.likely, failure.known, failure.kind) == (likely, False, kind)


@pytest.mark.parametrize(("kind", "known"), [(DRY, True), (STALE, False)])
def test_a_contact_that_says_the_water_is_gone_makes_it_known(
    kind: tuple[Quantity, Side],
    known: bool,  # noqa: FBT001
) -> None:
    (failure,) = together(
        [trouble(room, 0, kind) for room in "abc"], contacts=Contacts(water_pressure=False), by=THREE
    )
    assert failure.known is known


@pytest.mark.parametrize(
    ("rooms_wanted", "has", "needs"), [(3, 12, 3), (3, 2, 2), (3, 1, 2), (3, 0, 2), (5, 4, 4)]
)
def test_a_small_farm_needs_all_its_rooms_and_never_only_one(rooms_wanted: int, has: int, needs: int) -> None:
    assert measure(rooms=rooms_wanted, within_ms=1, farm_rooms=has) == Measure(rooms=needs, within_ms=1)


@pytest.mark.parametrize(
    ("one", "joined"),
    [
        (trouble("d", 10), True),
        (trouble("d", 10.5), False),
        (trouble("d", -5), True),
        (trouble("d", 5, STALE), False),
        (trouble("a", 300), True),
        (trouble("a", 5, STALE), False),
        (trouble("b", 5), False),
    ],
    ids=[
        "soon after",
        "too late",
        "learned late",
        "another trouble",
        "it was in it before",
        "it was in it before, and this is another trouble",
        "people heard that it is back",
    ],
)
def test_a_room_joins_what_is_told_already(one: Trouble, joined: bool) -> None:  # noqa: FBT001
    ongoing = Ongoing(kind=DRY, last_ms=0, rooms=frozenset("abc"), back=frozenset("b"))
    assert joins(one, ongoing, contacts=QUIET, by=THREE) is joined


@pytest.mark.parametrize(
    ("contacts", "at", "joined"), [(MAINS_OFF, 90, True), (Contacts(mains=True), 90, False), (QUIET, 8, True)]
)
def test_after_a_power_cut_rooms_join_while_it_lasts(
    contacts: Contacts,
    at: float,
    joined: bool,  # noqa: FBT001
) -> None:
    ongoing = Ongoing(kind=None, last_ms=0, rooms=frozenset("abc"), back=frozenset("b"))
    assert joins(trouble("d", at, STALE), ongoing, contacts=contacts, by=THREE) is joined
    assert joins(trouble("a", at, DRY), ongoing, contacts=contacts, by=THREE)
    assert not joins(trouble("b", at, DRY), ongoing, contacts=contacts, by=THREE)


def test_it_is_over_when_the_last_room_is_back() -> None:
    assert over([1, 2, 3], most_told=False, now_ms=4) is Over.ALL
    assert over([1, 2, 3], most_told=True, now_ms=4) is Over.ALL


@pytest.mark.parametrize(
    ("ended", "most_told", "minutes", "told"),
    [
        ([0, 1, 2, None], False, 20, Over.MOST),
        ([0, 1, 2, None], False, 19.9, Over.NOT_YET),
        ([0, 1, 2, None], True, 20, Over.NOT_YET),
        ([0, 1, None, None], False, 99, Over.NOT_YET),
        ([None, None], False, 99, Over.NOT_YET),
    ],
    ids=["most", "not for so long", "told before", "only half", "none"],
)
def test_which_rooms_are_not_back_is_told_once_when_most_have_been_for_a_while(
    ended: list[int | None],
    most_told: bool,  # noqa: FBT001
    minutes: float,
    told: Over,
) -> None:
    third = 2
    now_ms = round(minutes * MINUTE_MS) + third
    assert LEFT_MS == 20 * MINUTE_MS
    assert over(ended, most_told=most_told, now_ms=now_ms) is told
