"""When a passed limit for people is danger, when it waits for the round, and that nothing can hide it."""

from __future__ import annotations

import json
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.alarm import TABLE, Happens, IllegalMove, State, Tells, move
from rules.people import (
    NEVER_HELD,
    Act,
    Case,
    Grown,
    Level,
    PeopleLimits,
    Presence,
    case_from_plain,
    case_to_plain,
    decide,
    deepest,
    move_people,
)

pytestmark = pytest.mark.pure

NOBODY: Final = Presence()
WORK_HOURS: Final = Presence(work_hours=True)
BEN: Final = Presence(inside=frozenset({"ben"}))
ORDINARY: Final = Grown()
ON_PURPOSE: Final = Grown(above_on_purpose=True, air_is_above=True)
AIRED: Final = Grown(above_on_purpose=True)


def said(*moments: tuple[set[Level], Presence], grown: Grown = ORDINARY) -> list[str]:
    """What is told at each moment, the case going from one to the next."""
    case, found = Case(), []
    for over, presence in moments:
        case, act = decide(case, over, presence, grown)
        happens = {Happens.RAISED: "raised ", Happens.DEEPENED: "deeper ", Happens.CLEARED: "over"}
        found.append("" if act is None else (happens[act.happens] if act.happens else "") + (act.telling or ""))
    return found


EIGHT, TOP, SHORT, CEILING = ({level} for level in Level)


def test_over_the_day_with_nobody_there_at_night_waits_for_the_round() -> None:
    assert said((EIGHT, NOBODY), (EIGHT, NOBODY), (set(), NOBODY)) == ["raised round", "", "over"]


@pytest.mark.parametrize("over", [EIGHT, TOP, CEILING])
@pytest.mark.parametrize("presence", [WORK_HOURS, BEN])
def test_over_any_limit_while_somebody_may_be_there_is_danger(over: set[Level], presence: Presence) -> None:
    assert said((over, presence), (over, presence)) == ["raised danger", ""]
    assert said((over, NOBODY)) == ["raised round"]


def test_over_the_short_term_limit_is_danger_at_any_hour() -> None:
    assert said((SHORT, NOBODY)) == ["raised danger"]
    assert said((EIGHT, NOBODY), (EIGHT | SHORT, NOBODY), (EIGHT, NOBODY)) == ["raised round", "deeper danger", ""]


def test_a_deeper_limit_is_danger_again() -> None:
    moments = ((EIGHT, WORK_HOURS), (EIGHT | SHORT, WORK_HOURS), (EIGHT | SHORT | CEILING, WORK_HOURS))
    assert said(*moments) == ["raised danger", "deeper danger", "deeper danger"]


def test_a_deeper_limit_at_night_with_nobody_there_is_listed() -> None:
    assert said((EIGHT, NOBODY), (EIGHT | CEILING, NOBODY)) == ["raised round", "deeper round"]


def test_whoever_goes_in_while_it_is_over_is_told_of_once() -> None:
    both = Presence(inside=frozenset({"ben", "maria"}))
    moments = ((EIGHT, NOBODY), (EIGHT, BEN), (EIGHT, BEN), (EIGHT, both), (EIGHT, NOBODY), (EIGHT, BEN))
    assert said(*moments) == ["raised round", "danger", "", "danger", "", ""]


def test_the_beginning_of_work_hours_tells_what_the_night_listed() -> None:
    moments = ((EIGHT, NOBODY), (EIGHT, WORK_HOURS), (EIGHT, WORK_HOURS), (EIGHT, NOBODY), (EIGHT, WORK_HOURS))
    assert said(*moments) == ["raised round", "danger", "", "", ""]


def test_a_stage_grown_above_on_purpose_is_no_alarm_until_somebody_is_inside() -> None:
    moments = ((EIGHT | TOP, WORK_HOURS), (EIGHT | TOP, BEN), (EIGHT | TOP, BEN), (EIGHT | TOP, WORK_HOURS))
    assert said(*moments, grown=ON_PURPOSE) == ["", "raised danger", "", "over"]


def test_a_stage_grown_above_on_purpose_that_was_aired_out_may_be_gone_into() -> None:
    assert said((EIGHT, BEN), grown=AIRED) == [""]
    case, _ = decide(Case(), EIGHT, BEN, ON_PURPOSE)
    assert decide(case, EIGHT, BEN, AIRED) == (case, None)


def test_the_short_term_limit_counts_whatever_grows() -> None:
    assert said((EIGHT | SHORT, NOBODY), grown=ON_PURPOSE) == ["raised danger"]
    assert said((EIGHT | CEILING, NOBODY), grown=ON_PURPOSE) == ["raised round"]


def test_nothing_passed_is_nothing_told() -> None:
    assert decide(Case(), set(), BEN) == (Case(), None)
    assert deepest(()) is None


def test_what_is_over_forgets_who_was_told() -> None:
    assert said((EIGHT, BEN), (set(), BEN), (EIGHT, BEN)) == ["raised danger", "over", "raised danger"]
    assert decide(Case(depth=1), set(), BEN)[1] == Act(happens=Happens.CLEARED, level=None, telling=None)


def test_levels_are_known_by_their_depth_and_limits_by_their_level() -> None:
    assert [level.depth for level in Level] == [1, 2, 3, 4]
    limits = PeopleLimits(ceiling_ppm=40000)
    assert [limits.of(level) for level in Level] == [5000, 30000, 30000, 40000]


def test_a_farms_own_figures_stand_beside_the_usual_ones() -> None:
    usual = PeopleLimits.set_by(eight_hours_ppm=None, fifteen_minutes_ppm=None, ceiling_ppm=None)
    assert usual == PeopleLimits()
    own = PeopleLimits.set_by(eight_hours_ppm=3000, fifteen_minutes_ppm=10000, ceiling_ppm=20000)
    assert own == PeopleLimits(eight_hours_ppm=3000, fifteen_minutes_ppm=10000, ceiling_ppm=20000)


@pytest.mark.parametrize("state", list(State))
@pytest.mark.parametrize("happens", sorted(NEVER_HELD))
def test_nobody_can_hold_it_back(state: State, happens: Happens) -> None:
    with pytest.raises(IllegalMove):
        move_people(state, happens)


@pytest.mark.parametrize(("state", "happens"), sorted(k for k in TABLE if k[1] not in NEVER_HELD))
def test_every_other_move_is_the_tables(state: State, happens: Happens) -> None:
    assert move_people(state, happens) == move(state, happens)
    assert move_people(State.NORMAL, Happens.RAISED).tells is Tells.TROUBLE


PRESENCES: Final = st.builds(
    Presence, inside=st.frozensets(st.sampled_from(["ben", "maria"])), work_hours=st.booleans()
)
MOMENTS: Final = st.lists(st.tuples(st.frozensets(st.sampled_from(list(Level))), PRESENCES), max_size=12)


@given(MOMENTS, st.sampled_from([ORDINARY, ON_PURPOSE]))
def test_asking_again_at_the_same_moment_says_nothing_more(
    moments: list[tuple[frozenset[Level], Presence]], grown: Grown
) -> None:
    case = Case()
    for over, presence in moments:
        case, _act = decide(case, over, presence, grown)
        case = case_from_plain(json.loads(json.dumps(case_to_plain(case))))
        assert decide(case, over, presence, grown) == (case, None)


@given(MOMENTS)
def test_nobody_is_inside_over_a_limit_without_having_been_told_of(
    moments: list[tuple[frozenset[Level], Presence]],
) -> None:
    case = Case()
    for over, presence in moments:
        case, _act = decide(case, over, presence)
        level = deepest(over)
        if level is not None and presence.inside:
            assert presence.inside <= case.told
            assert case.danger_depth >= level.depth


def test_a_case_read_back_from_paper_is_the_same_case() -> None:
    case = Case(depth=3, danger_depth=1, told=frozenset({"ben", "ana"}))
    assert case_from_plain(json.loads(json.dumps(case_to_plain(case)))) == case
