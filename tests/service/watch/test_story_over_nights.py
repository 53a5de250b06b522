"""Whatever a night brings, its story can be told. Random and invented nights; the rules are the project's own."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.alarm import OPEN, Happens, State, move
from rules.evaluate import evaluate
from rules.limits import RoomLimits
from rules.model import MINUTE_MS, Reading
from service.watch.story import Story
from tests.support.happenings import story
from tests.support.histories import LENGTH_MINUTES, histories, schedules
from tests.support.rooms import minute, unjudged
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

STEP_MINUTES = 5


def _told(readings: list[Reading], schedule: tuple[RoomLimits, ...], chance: Random) -> tuple[Story, set[str]]:
    """Judge every few minutes, with somebody answering now and then; the happenings that were ever open."""
    told, state = story(now=0), unjudged()
    happenings: set[str] = set()
    for until in range(0, LENGTH_MINUTES + 1, STEP_MINUTES):
        state, events = evaluate(state, schedule=schedule, readings=readings, until_ms=minute(until))
        told.now_ms = minute(until)
        told.tell(events)
        if told.happening is not None:
            happenings.add(told.happening["happening_id"])
            if chance.random() < 0.3:
                _answer(told)
    return told, happenings


def _answer(told: Story) -> None:
    for key, state in told.states.items():
        if state is State.UNACKNOWLEDGED:
            told.states[key] = move(state, Happens.ACKNOWLEDGED).to


@settings(STEADY, max_examples=60)
@given(histories(), schedules(), st.randoms(use_true_random=False))
def test_a_happening_has_one_first_text_and_ends_with_its_last_alarm(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], chance: Random
) -> None:
    told, _ = _told(readings, schedule, chance)
    first = Counter(n["happening_id"] for n in told.notices if (n["kind"], n["telling"]) == ("trouble", "wake"))
    assert set(first.values()) <= {1}
    assert (told.happening is not None) == any(state in OPEN for state in told.states.values())
    ended = {one["happening_id"] for one in told.happenings.values() if one["ended_ms"] is not None}
    assert ended == told.happenings.keys() - ({told.happening["happening_id"]} if told.happening else set())


@settings(STEADY, max_examples=60)
@given(histories(), schedules(), st.randoms(use_true_random=False))
def test_no_notice_is_made_twice_and_back_follows_a_text(
    readings: list[Reading], schedule: tuple[RoomLimits, ...], chance: Random
) -> None:
    told, happenings = _told(readings, schedule, chance)
    keys = [notice["notice_key"] for notice in told.notices]
    assert len(set(keys)) == len(keys)
    woke = {n["happening_id"] for n in told.notices if n["telling"] == "wake" and n["kind"] != "back"}
    back = {n["happening_id"] for n in told.notices if (n["kind"], n["telling"]) == ("back", "wake")}
    assert back <= woke
    assert happenings <= told.happenings.keys()
    assert all(minute(0) - MINUTE_MS <= n["at_ms"] <= n["decided_ms"] for n in told.notices)
