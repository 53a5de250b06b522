"""Who is told next: the plain decision."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import pytest

from rules.model import MINUTE_MS
from service.notifications.routing import Chain, Line, Pace, Step, Told, Way, next_step

pytestmark = pytest.mark.pure

PACE = Pace(at_once=1, again_ms=10 * MINUTE_MS, most_tellings=3, call_after_ms=20 * MINUTE_MS)
TWO_AT_ONCE = Pace(at_once=2, again_ms=10 * MINUTE_MS, most_tellings=3, call_after_ms=20 * MINUTE_MS)


def line(person: str, after: float = 0, ways: tuple[Way, ...] = (Way.TEXT,), *, answers: bool = True) -> Line:
    return Line(person_id=person, after_ms=round(after * MINUTE_MS), ways=ways, answers=answers)


def told(person: str, at: float = 0, way: Way = Way.TEXT, *, may_reach: bool = True, **more: Any) -> Told:
    return Told(person_id=person, way=way, added_ms=round(at * MINUTE_MS), may_reach=may_reach, **more)


FOUR = (line("ana"), line("ben", 10), line("cal", 30), line("dee", 40))
MUTE = tuple(Line(person_id=x.person_id, after_ms=x.after_ms, ways=x.ways) for x in FOUR)
"""The same, of whom nobody has ever answered a text."""


def step(
    *done: Told,
    at: float = 0,
    going: bool = False,
    call_list: Sequence[Line] = FOUR,
    cannot: Iterable[str] = (),
    pace: Pace = PACE,
) -> Step:
    chain = Chain(call_list=call_list, told=done, cannot=set(cannot), pace=pace, began_ms=0)
    return next_step(chain, somebody_is_going=going, now_ms=round(at * MINUTE_MS))


def people(answer: Step) -> list[str]:
    return [tell.person_id for tell in answer.tell]


def through(call_list: Sequence[Line], pace: Pace, *, until: int) -> list[tuple[int, str, Way]]:
    """What happens minute by minute when everything goes out and nobody ever answers."""
    done: list[Told] = []
    seen: list[tuple[int, str, Way]] = []
    for minute in range(until + 1):
        for tell in step(*done, at=minute, call_list=call_list, pace=pace).tell:
            seen.append((minute, tell.person_id, tell.way))
            done.append(told(tell.person_id, minute, tell.way))
    return seen


def test_the_first_is_told_at_once() -> None:
    assert people(step()) == ["ana"]


def test_what_cannot_wait_begins_with_two() -> None:
    assert people(step(pace=TWO_AT_ONCE)) == ["ana", "ben"]


def test_no_answer_the_same_again_and_the_next_then_both_then_manager_and_owner() -> None:
    """The steps of the grower's own proposal: 10 min again and the second, 20 min both, 30 min the manager."""
    seen = through(FOUR, PACE, until=60)
    assert seen[:5] == [
        (0, "ana", Way.TEXT),
        (10, "ben", Way.TEXT),
        (10, "ana", Way.TEXT),
        (20, "ana", Way.TEXT),
        (20, "ben", Way.TEXT),
    ]
    assert (30, "cal", Way.TEXT) in seen
    assert (40, "dee", Way.TEXT) in seen
    assert {who: [w for _, w, _ in seen].count(who) for who in ("ana", "ben", "cal", "dee")} == {
        "ana": 3, "ben": 3, "cal": 3, "dee": 3,
    }  # fmt: skip


def test_from_then_on_people_are_called_where_voice_is_set_up() -> None:
    both = (Way.TEXT, Way.VOICE)
    seen = through((line("ana", ways=both), line("ben", 10, ways=both)), PACE, until=60)
    assert [(at, who) for at, who, way in seen if way is Way.VOICE] == [(20, "ana"), (20, "ben"), (30, "ben")]


def test_whoever_never_answered_a_text_is_told_once_and_called_once() -> None:
    both = (Way.TEXT, Way.VOICE)
    mute = (line("ana", ways=both, answers=False), line("ben", 10, answers=False))
    assert through(mute, TWO_AT_ONCE, until=120) == [
        (0, "ana", Way.TEXT),
        (0, "ben", Way.TEXT),
        (20, "ana", Way.VOICE),
    ]


@pytest.mark.parametrize(("at", "new"), [(29.9, []), (30, ["cal"]), (39.9, ["cal"]), (40, ["cal", "dee"])])
def test_the_others_follow_by_time(at: float, new: list[str]) -> None:
    assert people(step(told("ana"), told("ben", 10), at=at, call_list=MUTE)) == new


def test_nobody_further_once_somebody_is_going() -> None:
    assert step(told("ana"), told("ben"), at=90, going=True) == Step(tell=(), finished=True)


def test_when_nobody_could_be_reached_the_next_is_told_at_once() -> None:
    assert people(step(told("ana", may_reach=False), at=1)) == ["ben"]
    assert people(step(told("ana", may_reach=False), told("ben", may_reach=False), at=1)) == ["cal"]


def test_while_one_may_still_come_the_next_is_not_hurried() -> None:
    assert people(step(told("ana", may_reach=False), told("ben"), at=1)) == []


def test_whoever_cannot_come_is_left_in_peace_and_the_next_is_told_at_once() -> None:
    assert people(step(told("ana"), at=1, cannot=["ana"])) == ["ben"]
    assert "ana" not in people(step(told("ana"), told("ben", 1), at=30, cannot=["ana"]))


def test_whoever_said_so_before_being_told_is_not_told() -> None:
    after = step(told("ana"), at=10, cannot=["ben"], call_list=MUTE)
    assert people(after) == []
    assert not after.finished, "the others are still to come"


def test_a_text_that_fails_is_tried_by_another_way() -> None:
    both = (line("ana", ways=(Way.TEXT, Way.MAIL)), line("ben", 10))
    failing = told("ana", failing=True)
    assert [(t.person_id, t.way) for t in step(failing, at=1, call_list=both).tell] == [("ana", Way.MAIL)]
    by_mail = told("ana", 1, Way.MAIL)
    assert people(step(failing, by_mail, at=2, call_list=both)) == []


def test_a_mail_in_place_of_a_text_that_failed_does_not_hold_up_the_next_person() -> None:
    both = (line("ana", ways=(Way.TEXT, Way.MAIL)), line("ben", 10))
    lost = (told("ana", may_reach=False), told("ana", 1, Way.MAIL))
    assert people(step(*lost, at=2, call_list=both)) == ["ben"]
    by_mail = (line("ana", ways=(Way.MAIL,)), line("ben", 10))
    assert people(step(told("ana", way=Way.MAIL), at=2, call_list=by_mail)) == []


def test_a_text_that_only_waits_is_not() -> None:
    assert people(step(told("ana"), at=1, call_list=(line("ana", ways=(Way.TEXT, Way.MAIL)),))) == []


def test_every_telling_of_one_person_has_a_step_of_its_own() -> None:
    steps = [t.step for t in step(told("ana"), at=10).tell]
    assert steps == [1, 100]
    again = step(told("ana"), told("ana", 10), told("ben", 10), at=20).tell
    assert [(t.person_id, t.step) for t in again] == [("ana", 200), ("ben", 101)]


def test_what_was_called_off_before_it_went_out_counts_as_never_told_and_gets_a_new_step() -> None:
    off = told("ben", 10, may_reach=False, called_off=True)
    again = step(told("ana"), off, at=11, call_list=MUTE)
    assert [(t.person_id, t.step) for t in again.tell] == [("ben", 101)]


def test_it_is_finished_only_when_time_can_bring_nothing_more() -> None:
    assert [step(call_list=MUTE, at=at).finished for at in (0, 30, 40)] == [False, False, True]
    everybody = [told(x.person_id, n * 10) for x in FOUR for n in range(3)]
    assert step(*everybody, at=120).finished
    assert not step(*everybody[1:], at=29).finished


def test_a_person_who_cannot_be_told_does_not_take_a_place() -> None:
    there = (line("old-hand", ways=()), *FOUR)
    assert people(step(call_list=there, pace=TWO_AT_ONCE)) == ["ana", "ben"]


def test_a_person_on_two_lines_is_told_by_the_first() -> None:
    twice = (line("ana"), line("ben", 10), line("ana", 20))
    assert [who for _, who, _ in through(twice, PACE, until=5)] == ["ana"]
    assert step(*[told(who, n * 10) for who in ("ana", "ben") for n in range(3)], at=90, call_list=twice).finished


@pytest.mark.parametrize("call_list", [(), (line("old-hand", ways=()),)], ids=["empty", "nobody reachable"])
def test_a_list_with_nobody_on_it_ends_at_once(call_list: tuple[Line, ...]) -> None:
    assert step(call_list=call_list) == Step(tell=(), finished=True)


def seconds_through(fails: Way, *, from_minute: int, until: int) -> list[tuple[float, Way]]:
    """What Ana is sent, looked at every 5 s, when one way fails from some minute on."""
    done: list[Told] = []
    for at in (n / 12 for n in range(until * 12)):
        tell = step(*done, at=at, call_list=[line("ana", ways=(Way.TEXT, Way.VOICE))]).tell
        done += [told("ana", at, t.way, may_reach=t.way is not fails or at < from_minute) for t in tell]
    return [(one.added_ms / MINUTE_MS, one.way) for one in done]


def test_a_call_that_fails_is_not_made_again_and_again() -> None:
    texts = [(at, Way.TEXT) for at in (0, 10, 30)]
    assert seconds_through(Way.VOICE, from_minute=0, until=120) == sorted([*texts, (20, Way.VOICE)])


def test_repeats_that_fail_keep_the_same_distance_and_come_to_an_end() -> None:
    texts = [(at, Way.TEXT) for at in (0, 10)]
    assert seconds_through(Way.TEXT, from_minute=5, until=120) == [*texts, (20, Way.VOICE)]


def test_a_repeat_that_still_waits_is_not_joined_by_another_and_the_next_way_is_tried() -> None:
    done = (told("ana", 0), told("ana", 10, failing=True))
    assert step(*done, at=25, call_list=[line("ana")]).tell == ()
    mail = [line("ana", ways=(Way.TEXT, Way.MAIL))]
    assert [tell.way for tell in step(*done, at=25, call_list=mail).tell] == [Way.MAIL]
