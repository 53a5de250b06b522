"""From what happened to limits to what is written and told. The rules are the project's own; no outside source."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from rules.alarm import State
from rules.event import Change, Event
from rules.limits import Hold, Key, Why
from rules.model import MINUTE_MS, Quantity
from service.watch.story import BY_RULE, LATE_MS, REST_MS, USE_BY_MS, Story
from tests.support.happenings import CROP, event, going_on, room_limit, story
from tests.support.rooms import CO2_HIGH, HUMIDITY_LOW, WARM, minute

pytestmark = pytest.mark.pure

RAISED, DEEPENED, CLEARED = Change.RAISED, Change.DEEPENED, Change.CLEARED
ASLEEP = room_limit(of=replace(CROP, wakes=False))


def _told(told: Story) -> list[tuple[str, str, float]]:
    return [(n["kind"], n["telling"], (n["at_ms"] - minute(0)) / MINUTE_MS) for n in told.notices]


def test_a_passed_limit_is_written_down_and_wakes() -> None:
    told = story(now=8.5)
    told.tell([event(RAISED, 8)])
    assert told.states == {HUMIDITY_LOW: State.UNACKNOWLEDGED}
    assert told.since == {HUMIDITY_LOW: minute(8)}
    assert told.moved == {HUMIDITY_LOW}
    row = dict(told.transitions[0])
    assert json.loads(row.pop("facts")) == {"value": 78.0, "worst": 77.0, "began_ms": minute(0)}
    assert row == {
        "room_id": "h1",
        "quantity": "humidity",
        "side": "low",
        "at_ms": minute(8),
        "happens": "condition true (after on-delay)",
        "from_state": "normal",
        "to_state": "unacknowledged",
        "decided_ms": minute(8.5),
        "who": BY_RULE,
        "happening_id": f"h1@{minute(8)}",
    }
    (notice,) = told.notices
    assert notice["notice_key"] == f"h1/humidity/low/trouble/{minute(8)}"
    assert (notice["kind"], notice["telling"], notice["happening_id"]) == ("trouble", "wake", row["happening_id"])
    assert (notice["decided_ms"], notice["use_by_ms"]) == (minute(8.5), minute(8.5) + USE_BY_MS)
    assert notice["facts"]["learned_late"] is False


def test_a_happening_has_one_first_text_and_the_rest_is_for_the_round() -> None:
    told = story(now=20)
    told.tell([event(RAISED, 18), event(RAISED, 19, WARM)])
    assert _told(told) == [("trouble", "wake", 18), ("also", "round", 19)]
    assert set(told.happening_of.values()) == {f"h1@{minute(18)}"}
    assert list(told.happenings) == [f"h1@{minute(18)}"]


def test_only_depth_speaks_again() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.ACKNOWLEDGED}, happening=going_on(minute(3)))
    told.tell([event(DEEPENED, 20)])
    assert _told(told) == [("deeper", "wake", 20)]
    assert told.states == {HUMIDITY_LOW: State.ACKNOWLEDGED}
    assert told.since == {}, "an alarm is as old as it was"


def test_a_crop_that_may_not_wake_is_for_the_round_with_its_depth() -> None:
    told = story(now=20)
    told.tell([event(RAISED, 18, judged_by=ASLEEP), event(DEEPENED, 19, judged_by=ASLEEP)])
    assert _told(told) == [("trouble", "round", 18), ("deeper", "round", 19)]
    assert told.happening is not None
    assert told.happening["woke"] == 0


def test_another_limit_that_may_wake_does_so_in_a_happening_that_has_not() -> None:
    told = story(now=20)
    told.tell([event(RAISED, 18, judged_by=ASLEEP), event(RAISED, 19, WARM)])
    assert _told(told) == [("trouble", "round", 18), ("trouble", "wake", 19)]


def test_a_far_limit_wakes_although_its_alarm_was_only_listed_before() -> None:
    told = story(now=20)
    told.tell([event(RAISED, 18, judged_by=ASLEEP), event(DEEPENED, 19)])
    assert _told(told) == [("trouble", "round", 18), ("trouble", "wake", 19)]


def test_a_second_limit_that_is_passed_far_at_once_speaks_again() -> None:
    told = story(now=20)
    told.tell([event(RAISED, 18, WARM), event(RAISED, 19, deepened=True)])
    assert _told(told) == [("trouble", "wake", 18), ("deeper", "wake", 19)]


@pytest.mark.parametrize(
    ("now", "heard", "waits"),
    [(60, set(), REST_MS), (60, {Quantity.HUMIDITY}, 0), (60, {Quantity.CO2}, REST_MS), (12, set(), 0)],
)
def test_what_was_passed_long_ago_and_is_not_heard_now_waits_for_the_rest_of_a_lump(
    now: float, heard: set[Quantity], waits: int
) -> None:
    told = story(now=now)
    told.heard = heard
    told.tell([event(RAISED, 8)])
    (notice,) = told.notices
    assert notice["telling"] == "wake"
    assert notice["facts"].get("tell_from_ms", minute(now)) == minute(now) + waits


def test_the_end_of_a_happening_that_woke_is_told_at_once() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.ACKNOWLEDGED}, happening=going_on(minute(3)))
    told.tell([event(CLEARED, 20, value=88.0)])
    assert told.states == {HUMIDITY_LOW: State.NORMAL}
    assert _told(told) == [("back", "wake", 20)]
    assert told.happening is None
    (ended,) = told.happenings.values()
    assert (ended["ended_ms"], ended["closed_ms"]) == (minute(20), minute(20))
    assert told.notices[0]["happening_id"] == ended["happening_id"]


def test_one_that_nobody_answered_has_ended_and_is_not_closed() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.UNACKNOWLEDGED}, happening=going_on(minute(3)))
    told.tell([event(CLEARED, 20)])
    assert told.states == {HUMIDITY_LOW: State.RETURNED_UNACKNOWLEDGED}
    (ended,) = told.happenings.values()
    assert (ended["ended_ms"], ended["closed_ms"]) == (minute(20), None)


def test_a_happening_lasts_until_its_last_alarm_is_over() -> None:
    both = {HUMIDITY_LOW: State.ACKNOWLEDGED, WARM: State.UNACKNOWLEDGED}
    told = story(now=30, states=both, happening=going_on(minute(3)))
    told.tell([event(CLEARED, 20)])
    assert _told(told) == []
    assert told.happening is not None
    told.tell([event(CLEARED, 30, WARM)])
    assert _told(told) == [("back", "wake", 30)]


def test_the_end_of_one_that_woke_nobody_is_for_the_round() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.ACKNOWLEDGED}, happening=going_on(minute(3), woke=0))
    told.tell([event(CLEARED, 20)])
    assert _told(told) == [("back", "round", 20)]


@pytest.mark.parametrize("unsayable", [{"value": None}, {"judged_by": None}])
def test_an_end_without_a_figure_to_say_wakes_nobody(unsayable: dict[str, Any]) -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.ACKNOWLEDGED}, happening=going_on(minute(3)))
    told.tell([event(CLEARED, 20, **unsayable)])
    assert _told(told) == [("back", "round", 20)]


def test_after_an_end_the_next_limit_begins_a_happening_of_its_own() -> None:
    told = story(now=41)
    told.tell([event(RAISED, 36.5), event(CLEARED, 38), event(RAISED, 40)])
    assert _told(told) == [("trouble", "wake", 36.5), ("back", "wake", 38), ("trouble", "wake", 40)]
    assert list(told.happenings) == [f"h1@{minute(36.5)}", f"h1@{minute(40)}"]
    assert told.transitions[2]["happens"] == "condition true again"


def test_a_stretch_that_was_over_before_we_heard_of_it_wakes_nobody() -> None:
    told = story(now=60)
    told.tell([event(RAISED, 10), event(DEEPENED, 12), event(CLEARED, 40)])
    assert _told(told) == [("trouble", "round", 10), ("deeper", "round", 12), ("back", "round", 40)]
    assert [notice["facts"].get("learned_late") for notice in told.notices] == [True, True, None]


def test_one_that_is_still_going_on_wakes_however_late_we_hear_of_it() -> None:
    told = story(now=600)
    told.tell([event(RAISED, 8), event(RAISED, 9, WARM), event(CLEARED, 40, WARM)])
    assert _told(told) == [("trouble", "wake", 8), ("also", "round", 9)]
    assert told.notices[0]["facts"]["learned_late"] is False
    assert told.notices[1]["facts"]["learned_late"] is True


def test_late_is_more_than_five_minutes() -> None:
    for late_ms, telling in ((LATE_MS, "wake"), (LATE_MS + 1, "round")):
        told = story(now=0)
        told.now_ms = minute(8) + late_ms
        told.tell([event(RAISED, 8), event(CLEARED, 10)])
        assert told.notices[0]["telling"] == telling


@pytest.mark.parametrize("state", [State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE])
def test_an_alarm_that_was_set_aside_moves_by_nothing_that_happens(state: State) -> None:
    told = story(now=20, states={HUMIDITY_LOW: state})
    told.tell([event(RAISED, 8), event(DEEPENED, 10), event(CLEARED, 20)])
    assert (told.transitions, told.notices, told.states) == ([], [], {HUMIDITY_LOW: state})


def test_a_move_that_tells_nothing_is_written_and_causes_no_text() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.LATCHING_UNACKNOWLEDGED}, happening=going_on(minute(3)))
    told.tell([event(CLEARED, 20)])
    assert told.states == {HUMIDITY_LOW: State.LATCHED_UNACKNOWLEDGED}
    assert (len(told.transitions), told.notices) == (1, [])


def test_telling_twice_what_is_open_already_changes_nothing() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.UNACKNOWLEDGED}, happening=going_on(minute(3)))
    told.tell([event(RAISED, 8)])
    assert (told.transitions, told.notices) == ([], [])


def test_an_alarm_set_aside_does_not_keep_a_happening_going() -> None:
    states = {HUMIDITY_LOW: State.ACKNOWLEDGED, CO2_HIGH: State.SHELVED}
    told = story(now=20, states=states, happening=going_on(minute(3)))
    told.tell([event(CLEARED, 20)])
    assert told.happening is None


def test_an_end_of_a_limit_that_stands_in_no_happening_is_written_and_not_told() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.ACKNOWLEDGED})
    told.tell([event(CLEARED, 20)])
    assert told.states == {HUMIDITY_LOW: State.NORMAL}
    assert (len(told.transitions), told.notices) == (1, [])
    assert told.transitions[0]["happening_id"] is None


def test_a_depth_in_no_happening_is_written_and_not_told() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.ACKNOWLEDGED})
    told.tell([event(DEEPENED, 20)])
    assert (len(told.transitions), told.notices) == (1, [])


WORK = Hold(why=Why.WORKING, from_ms=minute(0), until_ms=minute(60), who="Ana")
LEFT = replace(WORK, why=Why.LEFT)
HELD, RELEASED = Change.HELD, Change.RELEASED


def test_what_is_held_back_is_for_the_round_with_who_holds_it() -> None:
    told = story(now=20)
    told.tell([event(HELD, 18, hold=WORK)])
    assert told.states == {HUMIDITY_LOW: State.SUPPRESSED}
    assert _told(told) == [("held", "round", 18)]
    (notice,) = told.notices
    assert notice["happening_id"] is None, "there was nothing that people had been told of"
    assert notice["facts"]["hold"] == {"why": "working", "who": "Ana", "until_ms": minute(60)}
    assert (notice["facts"]["value"], notice["facts"]["limit"]) == (78.0, 80)
    assert (told.happening, told.happenings) == (None, {})


def test_what_still_holds_at_the_end_is_told_then() -> None:
    told = story(now=60, states={HUMIDITY_LOW: State.SUPPRESSED})
    told.tell([event(RELEASED, 60)])
    assert told.states == {HUMIDITY_LOW: State.UNACKNOWLEDGED}
    assert _told(told) == [("trouble", "wake", 60)]
    assert told.transitions[0]["happens"] == "design condition ends"


def test_what_is_over_by_the_end_is_told_to_nobody() -> None:
    told = story(now=60, states={HUMIDITY_LOW: State.SHELVED})
    told.tell([event(RELEASED, 60, beyond=False)])
    assert told.states == {HUMIDITY_LOW: State.NORMAL}
    assert _told(told) == []
    assert told.transitions[0]["happens"] == "shelving time ends or unshelve"


def test_holding_back_the_last_open_alarm_ends_the_happening_without_a_text() -> None:
    told = story(now=20, states={HUMIDITY_LOW: State.UNACKNOWLEDGED}, happening=going_on(minute(3)))
    told.tell([event(HELD, 20, hold=LEFT)])
    assert told.states == {HUMIDITY_LOW: State.SHELVED}
    assert _told(told) == [("held", "round", 20)]
    assert told.notices[0]["happening_id"] == f"h1@{minute(3)}", "so that what had not gone out is called off"
    assert told.happening is None
    assert told.happenings[f"h1@{minute(3)}"]["ended_ms"] == minute(20)


def test_a_happening_goes_on_while_another_alarm_of_it_is_open() -> None:
    states = {HUMIDITY_LOW: State.UNACKNOWLEDGED, WARM: State.ACKNOWLEDGED}
    told = story(now=20, states=states, happening=going_on(minute(3)))
    told.tell([event(HELD, 20, hold=LEFT)])
    assert told.happening is not None
    assert told.notices[0]["happening_id"] is None


def test_what_nobody_can_say_at_the_end_is_open_and_told_when_somebody_can() -> None:
    told = story(now=60, states={HUMIDITY_LOW: State.SUPPRESSED})
    told.tell([event(RELEASED, 60, value=None)])
    assert told.states == {HUMIDITY_LOW: State.UNACKNOWLEDGED}
    assert _told(told) == []
    assert told.has_woken_nobody
    told.owe([event(RAISED, 62)])
    assert _told(told) == [("trouble", "wake", 62)]


def test_nobody_is_woken_for_what_is_owed_and_on_its_way_back() -> None:
    told = story(now=60, states={HUMIDITY_LOW: State.SUPPRESSED})
    told.tell([event(RELEASED, 60, value=None)])
    told.owe([event(RAISED, 62, value=90.0, beyond=False)])
    assert _told(told) == []
    assert told.has_woken_nobody, "should it fall again, that is told"


def test_what_is_held_back_by_the_time_we_hear_of_it_wakes_nobody() -> None:
    """Two limits were passed, one of them is left since; only the other is told."""
    told = story(now=40)
    told.tell([event(RAISED, 18), event(RAISED, 20, WARM), event(HELD, 30, hold=LEFT)])
    assert _told(told) == [("trouble", "round", 18), ("trouble", "wake", 20), ("held", "round", 30)]
    assert told.states == {HUMIDITY_LOW: State.SHELVED, WARM: State.UNACKNOWLEDGED}


def test_an_alarm_that_is_not_held_back_is_not_released_and_one_that_is_not_held_twice() -> None:
    told = story(now=60, states={HUMIDITY_LOW: State.ACKNOWLEDGED, WARM: State.SHELVED})
    told.tell([event(RELEASED, 60), event(HELD, 60, WARM, hold=WORK), event(CLEARED, 60, WARM)])
    assert told.transitions == []


def test_the_end_of_a_limit_that_is_held_back_leaves_no_facts_of_it() -> None:
    told = story(now=60)
    told.tell([event(HELD, 60, judged_by=None)])
    assert told.notices[0]["facts"] == {}


def _released(at: float, key: Key = HUMIDITY_LOW, **facts: Any) -> Event:
    usual = {"value": 92.0, "beyond": False, "back_ms": minute(at - 5)}
    return event(RELEASED, at, key, **{**usual, **facts})


def _woken_and_held(*, now: float, states: dict[Key, State] | None = None) -> Story:
    """Somebody was woken at minute 3, and then the alarm was held back."""
    told = story(now=now, states=states or {HUMIDITY_LOW: State.SUPPRESSED})
    told.happening_of.update(dict.fromkeys(told.states, f"h1@{minute(3)}"))
    return told


def test_whoever_was_woken_hears_the_end_of_what_was_mended_during_the_work() -> None:
    told = _woken_and_held(now=60)
    told.tell([_released(60)])
    assert _told(told) == [("back", "wake", 60)]
    (notice,) = told.notices
    assert notice["happening_id"] == f"h1@{minute(3)}"
    assert (notice["facts"]["value"], notice["facts"]["back_ms"]) == (92.0, minute(55))


def test_the_end_of_two_held_alarms_of_one_happening_is_told_once() -> None:
    told = _woken_and_held(now=60, states={HUMIDITY_LOW: State.SUPPRESSED, WARM: State.SHELVED})
    told.tell([_released(60), _released(60, WARM, value=18.0)])
    assert _told(told) == [("back", "wake", 60)]


def test_the_end_is_not_told_while_its_happening_goes_on_or_while_it_is_out_again() -> None:
    told = _woken_and_held(now=60)
    told.happening = going_on(minute(3))
    told.tell([_released(60)])
    assert _told(told) == []
    told = _woken_and_held(now=60)
    told.tell([_released(60, value=79.0)])
    assert _told(told) == [], "under the limit once more: if it stays so, that is trouble of its own"
    told = _woken_and_held(now=60)
    told.tell([_released(60, judged_by=None)])
    assert _told(told) == [], "the limit itself is gone"


def test_what_had_come_back_before_it_was_held_is_not_told_to_be_back_again() -> None:
    told = _woken_and_held(now=60, states={HUMIDITY_LOW: State.RETURNED_UNACKNOWLEDGED})
    told.tell([event(HELD, 20, hold=WORK), _released(60)])
    assert _told(told) == [("held", "round", 20)]


def _as_it_goes(told: Story, *events: Event) -> None:
    for one in events:
        told.now_ms = one.at_ms
        told.tell([one])


def test_a_value_that_jumps_about_its_far_limit_speaks_once_an_hour() -> None:
    """Warmth keeps the happening open while humidity comes and goes."""
    told = story(now=0)
    _as_it_goes(told, event(RAISED, 5, WARM))
    for at in (10, 30, 50, 71):
        _as_it_goes(told, event(RAISED, at), event(DEEPENED, at + 1), event(CLEARED, at + 10, value=88.0))
    assert [(kind, at) for kind, telling, at in _told(told) if telling == "wake"] == [
        ("trouble", 5),
        ("deeper", 11),
        ("deeper", 72),
    ]


def test_a_far_limit_speaks_again_in_another_happening() -> None:
    told = story(now=0)
    for at in (10, 40):
        _as_it_goes(told, event(RAISED, at), event(DEEPENED, at + 1), event(CLEARED, at + 10, value=88.0))
    once = ["trouble", "deeper", "back"]
    assert [kind for kind, telling, _ in _told(told) if telling == "wake"] == once + once


def test_what_a_far_limit_said_in_an_earlier_judgement_is_remembered() -> None:
    told = story(now=30, states={HUMIDITY_LOW: State.UNACKNOWLEDGED}, happening=going_on(minute(3)))
    told.far_told = {HUMIDITY_LOW: minute(5)}
    told.tell([event(DEEPENED, 20)])
    assert _told(told) == [("deeper", "round", 20)]
