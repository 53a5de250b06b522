"""Two lists of notices joined. The rules and words are our own: no outside source."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from service.reports.replay import NOTHING_SAID, Beside, Mark, Says, beside
from tests.support.watched import minute

pytestmark = pytest.mark.pure

SAYS = Says(zone="America/New_York", units="us")


def notice(at: float, kind: str = "trouble", *, telling: str = "wake", side: str = "low", **facts: Any) -> Any:
    given = {"room": "House 7", "quantity": "humidity", "side": side, "value": 78.0, "limit": 85.0, **facts}
    key = f"house-7/humidity/{side}/{kind}/{minute(at)}"
    return {"notice_key": key, "kind": kind, "telling": telling, "at_ms": minute(at), "facts": given}


def marks(found: Beside) -> list[tuple[Mark, float]]:
    return [(line.mark, (line.at_ms - minute(0)) / 60_000) for line in found.lines]


def lines(was: Sequence[Any], would: Sequence[Any]) -> list[str]:
    return [SAYS.line(line) for line in beside(was, would).lines]


def test_the_same_twice_is_as_it_was_said() -> None:
    both = [notice(10), notice(40, "back", value=92.0)]
    found = beside(both, both)

    assert marks(found) == [(Mark.SAME, 10), (Mark.SAME, 40)]
    assert (found.texts_then, found.texts_now, found.differs) == (1, 1, False)
    assert SAYS.summary(found) == "1 text; all as it was said."
    assert lines(both, both) == [
        "Wed 25 Nov 07:20  text   House 7: humidity low, 78%, limit 85% (as it was said)",
        "Wed 25 Nov 07:50  text   House 7: humidity low, 92%, limit 85%, back (as it was said)",
    ]


def test_what_is_only_in_one_list_is_said_so() -> None:
    found = beside([notice(10), notice(200)], [notice(10), notice(400), notice(600)])

    assert marks(found) == [(Mark.SAME, 10), (Mark.MISSING, 200), (Mark.ADDED, 400), (Mark.ADDED, 600)]
    assert SAYS.summary(found) == "3 texts instead of 2."
    assert "(would not have been said)" in SAYS.line(found.lines[1])
    assert "(was not said)" in SAYS.line(found.lines[2])


def test_the_same_matter_at_another_time_is_one_line() -> None:
    assert "(7 min later than it was said)" in lines([notice(10)], [notice(17)])[0]
    assert "(1 h sooner than it was said)" in lines([notice(70)], [notice(10)])[0]
    assert marks(beside([notice(80)], [notice(10)])) == [(Mark.ADDED, 10), (Mark.MISSING, 80)]


def test_the_nearest_of_several_is_the_same_matter() -> None:
    found = beside([notice(5), notice(30)], [notice(28)])
    assert marks(found) == [(Mark.MISSING, 5), (Mark.MOVED, 28)]


def test_a_text_that_was_only_on_the_sheet_and_the_other_way_round() -> None:
    sheet, text = notice(10, telling="round"), notice(10)

    assert "text   House 7" in lines([sheet], [text])[0]
    assert "(a text, and only on the sheet then)" in lines([sheet], [text])[0]
    assert "sheet  House 7" in lines([text], [sheet])[0]
    assert "(only on the sheet, and a text then)" in lines([text], [sheet])[0]
    assert SAYS.summary(beside([text], [sheet])) == "No text instead of 1."


def test_as_many_texts_need_not_be_the_same_ones() -> None:
    found = beside([notice(10)], [notice(300)])
    assert SAYS.summary(found) == "1 text, as many as then, but not all as it was said."


def test_kinds_and_sides_are_not_mixed() -> None:
    found = beside([notice(10), notice(20, "deeper")], [notice(10, side="high"), notice(20, "also")])
    assert {line.mark for line in found.lines} == {Mark.MISSING, Mark.ADDED}
    assert len(found.lines) == 4


def test_limits_that_hold_for_people_are_left_out() -> None:
    found = beside([notice(10, "danger", side="people")], [])
    assert found.lines == ()
    assert SAYS.summary(found) == NOTHING_SAID


def test_what_has_no_figures_is_said_without_them() -> None:
    gone = notice(10, "held", telling="round", value=None)
    assert lines([gone], [gone]) == ["Wed 25 Nov 07:20  sheet  House 7: humidity low, held back (as it was said)"]
