"""Who is told next: the plain decision."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest

from rules.model import MINUTE_MS
from service.notifications.routing import Line, Step, Way, is_night, next_step

pytestmark = pytest.mark.pure


def line(person: str, after: float = 0, ways: tuple[Way, ...] = (Way.TEXT,)) -> Line:
    return Line(person_id=person, after_ms=round(after * MINUTE_MS), ways=ways)


FOUR = (line("ana"), line("ben", 10), line("cal", 20), line("dee", 40))


def step(
    told: Mapping[str, bool] | None = None,
    *,
    at: float = 0,
    going: bool = False,
    call_list: Sequence[Line] = FOUR,
) -> Step:
    return next_step(call_list, told or {}, somebody_is_going=going, began_ms=0, now_ms=round(at * MINUTE_MS))


def people(answer: Step) -> list[str]:
    return [tell.person_id for tell in answer.tell]


def test_the_first_two_are_told_at_once() -> None:
    assert people(step()) == ["ana", "ben"]


@pytest.mark.parametrize(("at", "told"), [(19.9, []), (20, ["cal"]), (39.9, ["cal"]), (40, ["cal", "dee"])])
def test_the_others_follow_by_time(at: float, told: list[str]) -> None:
    assert people(step({"ana": True, "ben": True}, at=at)) == told


def test_nobody_is_told_twice() -> None:
    everybody = {"ana": True, "ben": True, "cal": True, "dee": True}
    assert step(everybody, at=90) == Step(tell=(), finished=True)


def test_nobody_further_once_somebody_is_going() -> None:
    assert step({"ana": True, "ben": True}, at=90, going=True) == Step(tell=(), finished=True)


def test_when_nobody_could_be_reached_the_next_is_told_at_once() -> None:
    assert people(step({"ana": False, "ben": False}, at=1)) == ["cal"]
    assert people(step({"ana": False, "ben": False, "cal": False}, at=1)) == ["dee"]


def test_while_one_may_still_come_the_next_is_not_hurried() -> None:
    assert people(step({"ana": False, "ben": True}, at=1)) == []


def test_it_is_finished_only_when_everybody_was_told() -> None:
    assert [step(at=at).finished for at in (0, 20, 40)] == [False, False, True]


def test_a_person_who_cannot_be_told_does_not_take_a_place() -> None:
    there = (line("old-hand", ways=()), *FOUR)
    assert people(step(call_list=there)) == ["ana", "ben"]
    assert people(step({"ana": False, "ben": False}, at=1, call_list=there)) == ["cal"]
    assert step(dict.fromkeys(["ana", "ben", "cal", "dee"], True), at=90, call_list=there).finished


@pytest.mark.parametrize("call_list", [(), (line("old-hand", ways=()),)], ids=["empty", "nobody reachable"])
def test_a_list_with_nobody_on_it_ends_at_once(call_list: tuple[Line, ...]) -> None:
    assert step(call_list=call_list) == Step(tell=(), finished=True)


def test_each_person_keeps_the_place_on_the_list_as_the_step() -> None:
    both = (line("ana", ways=(Way.TEXT, Way.MAIL)), line("ben"))
    assert [(t.step, t.person_id, t.way) for t in step(call_list=both).tell] == [
        (0, "ana", Way.TEXT),
        (0, "ana", Way.MAIL),
        (1, "ben", Way.TEXT),
    ]


@pytest.mark.parametrize(("minute", "night"), [(0, True), (359, True), (360, False), (1079, False), (1080, True)])
def test_the_night_is_from_the_evening_round_to_the_morning_round(minute: int, night: bool) -> None:  # noqa: FBT001
    assert is_night(minute, evening_minute=18 * 60, morning_minute=6 * 60) is night


def test_where_the_evening_round_is_after_midnight_the_night_is_short() -> None:
    found = [is_night(hour * 60, evening_minute=60, morning_minute=5 * 60) for hour in range(6)]
    assert found == [False, True, True, True, True, False]
