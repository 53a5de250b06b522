"""The alarm's life against the published state model.

``tests/reference/alarm_transitions.csv`` holds the arrows of the ANSI/ISA-18.2 (IEC 62682) alarm state model. Rows
with basis ``read`` were seen in open documentation that redraws it; rows ``from memory`` are recalled and not
confirmed. The bought standard was not opened.
"""

from __future__ import annotations

import csv
from itertools import product
from pathlib import Path

import pytest

from rules.alarm import OPEN, TABLE, Basis, Happens, IllegalMove, Moved, State, Tells, move, when_beyond

pytestmark = pytest.mark.pure

REFERENCE = Path(__file__).parents[1] / "reference" / "alarm_transitions.csv"
ROWS = list(csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines()))
BY_CONDITION = "normal or unacknowledged, by the condition at that moment"

ILLEGAL = [pair for pair in product(State, Happens) if pair not in TABLE]


def _pair(row: dict[str, str]) -> tuple[State, Happens]:
    return State(row["from_state"]), Happens(row["event"])


def test_the_reference_file_is_whole() -> None:
    assert len(ROWS) == 20
    assert [row["basis"] for row in ROWS].count("read") == 12
    assert [row["basis"] for row in ROWS].count("from memory") == 8


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_every_arrow_of_the_model_leads_where_the_model_says(row: dict[str, str]) -> None:
    state, happens = _pair(row)
    if row["expected"] == BY_CONDITION:
        assert move(state, happens, beyond_now=True).to is State.UNACKNOWLEDGED, row["source"]
        assert move(state, happens, beyond_now=False).to is State.NORMAL, row["source"]
    else:
        for beyond_now in (True, False):
            assert move(state, happens, beyond_now=beyond_now).to is State(row["expected"]), row["source"]


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_every_arrow_says_honestly_where_it_was_seen(row: dict[str, str]) -> None:
    assert TABLE[_pair(row)].basis is Basis(row["basis"])


def test_no_arrow_beyond_the_reference_claims_to_have_been_read() -> None:
    known = {_pair(row) for row in ROWS}
    assert {pair: row.basis for pair, row in TABLE.items() if pair not in known} == {
        (State.UNACKNOWLEDGED, Happens.DEEPENED): Basis.OURS,
        (State.ACKNOWLEDGED, Happens.DEEPENED): Basis.OURS,
        (State.RETURNED_UNACKNOWLEDGED, Happens.SHELVED): Basis.OURS,
        (State.RETURNED_UNACKNOWLEDGED, Happens.SUPPRESSED): Basis.OURS,
        (State.ACKNOWLEDGED, Happens.REMOVED): Basis.FROM_MEMORY,
    }


@pytest.mark.parametrize(("state", "happens"), ILLEGAL, ids=[f"{s.name}-{h.name}" for s, h in ILLEGAL])
def test_what_the_table_does_not_know_is_refused(state: State, happens: Happens) -> None:
    with pytest.raises(IllegalMove) as refused:
        move(state, happens, beyond_now=True)
    assert repr(state.value) in str(refused.value)
    assert repr(happens.value) in str(refused.value)


def test_a_refused_move_leaves_the_table_as_it_was() -> None:
    before = dict(TABLE)
    with pytest.raises(IllegalMove):
        move(State.SHELVED, Happens.RAISED)
    assert before == TABLE
    assert move(State.SHELVED, Happens.UNSHELVED).to is State.NORMAL


def test_people_hear_only_of_trouble_of_depth_and_of_its_end() -> None:
    """Our own rule, no source: what a person or a design does to an alarm tells nobody anything."""
    told = {pair: row.tells for pair, row in TABLE.items() if row.tells is not Tells.NOTHING}
    assert told == {
        (State.NORMAL, Happens.RAISED): Tells.TROUBLE,
        (State.RETURNED_UNACKNOWLEDGED, Happens.RAISED_AGAIN): Tells.TROUBLE,
        (State.UNACKNOWLEDGED, Happens.DEEPENED): Tells.DEEPER,
        (State.ACKNOWLEDGED, Happens.DEEPENED): Tells.DEEPER,
        (State.UNACKNOWLEDGED, Happens.CLEARED): Tells.BACK,
        (State.ACKNOWLEDGED, Happens.CLEARED): Tells.BACK,
        (State.SHELVED, Happens.UNSHELVED): Tells.BY_CONDITION,
        (State.SUPPRESSED, Happens.UNSUPPRESSED): Tells.BY_CONDITION,
        (State.OUT_OF_SERVICE, Happens.RETURNED): Tells.BY_CONDITION,
    }


@pytest.mark.parametrize("pair", [pair for pair, row in TABLE.items() if row.to is None], ids=str)
def test_coming_back_to_life_beyond_the_limit_is_trouble_and_inside_it_is_nothing(
    pair: tuple[State, Happens],
) -> None:
    assert move(*pair, beyond_now=True) == Moved(to=State.UNACKNOWLEDGED, tells=Tells.TROUBLE)
    assert move(*pair, beyond_now=False) == Moved(to=State.NORMAL, tells=Tells.NOTHING)


def test_depth_never_changes_where_an_alarm_is() -> None:
    assert all(row.to is state for (state, happens), row in TABLE.items() if happens is Happens.DEEPENED)


def test_a_condition_that_becomes_true_has_one_name_in_each_state() -> None:
    assert {state: when_beyond(state) for state in State if when_beyond(state)} == {
        State.NORMAL: Happens.RAISED,
        State.RETURNED_UNACKNOWLEDGED: Happens.RAISED_AGAIN,
    }


def test_open_are_the_states_from_which_a_condition_can_clear() -> None:
    assert {state for state, happens in TABLE if happens is Happens.CLEARED} == OPEN
