"""What holds of every notice on its way down a call list, whatever phones, people and figures do.

The nights are random and invented. What must hold is this project's own promise: nobody is told twice for nothing,
nobody is forgotten, and it ends.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model import MINUTE_MS
from service.notifications.routing import Line, Way
from tests.support.pretend_chain import LAST, Fate, Lived, Night, Telling, live, nights

pytestmark = pytest.mark.pure

EVERY_MINUTE = range(LAST)
REACHES = Fate(becomes="reaches")


def _reachable(night: Night) -> dict[str, Line]:
    lines: dict[str, Line] = {}
    for line in night.lines:
        if line.ways:
            lines.setdefault(line.person_id, line)
    return lines


def _reached(lived: Lived, person: str) -> list[Telling]:
    return [t for t in lived.to(person) if t.at(lived.now) == "sent"]


def _then(lived: Lived, now: int) -> Lived:
    """What had been said by a minute."""
    return Lived(night=lived.night, heard=[s for s in lived.heard if s.minute <= now])


@given(nights())
def test_it_ends_answered_or_with_everybody_told_or_tried_by_every_way(night: Night) -> None:
    lived = live(night, EVERY_MINUTE)
    assert not lived.open
    if lived.going():
        return
    for person, line in _reachable(night).items():
        if person not in lived.cannot():
            every = {t.way for t in lived.to(person)} == set(line.ways)
            assert _reached(lived, person) or every, f"{person} was forgotten"


@given(nights())
def test_nobody_is_told_more_often_than_the_farm_wants(night: Night) -> None:
    """What failed may be told by each other way instead; where voice is set up, one call more is made."""
    lived = live(night, EVERY_MINUTE)
    for person, line in _reachable(night).items():
        calls = 1 if Way.VOICE in line.ways else 0
        arrived = [t for t in lived.to(person) if t.fate == REACHES]
        assert len(arrived) <= night.pace.most_tellings + calls
        assert len(lived.to(person)) <= night.pace.most_tellings * len(line.ways) + calls


@given(nights())
def test_nobody_is_told_after_they_said_that_they_cannot_or_while_somebody_is_going(night: Night) -> None:
    lived = live(night, EVERY_MINUTE)
    for t in lived.told:
        then = _then(lived, t.minute)
        assert not then.going()
        assert t.person_id not in then.cannot()


@given(nights())
def test_nobody_is_told_before_their_time_while_somebody_before_them_may_come(night: Night) -> None:
    lived = live(night, EVERY_MINUTE)
    order = list(_reachable(night))
    seen: set[str] = set()
    for t in lived.told:
        line, place = _reachable(night)[t.person_id], order.index(t.person_id)
        cannot = _then(lived, t.minute).cannot()
        if t.person_id not in seen and place >= night.pace.at_once and t.minute * MINUTE_MS < line.after_ms:
            sooner = [x for x in lived.told if x.minute < t.minute and x.person_id not in cannot]
            may_come = [x for x in sooner if x.fate == REACHES and not x.called_off and x.way is Way.TEXT]
            assert not may_come, f"{t.person_id} was told while {may_come[0].person_id} may come"
            before = {who for who in order[:place] if who not in cannot}
            assert before <= {x.person_id for x in lived.told if x.minute <= t.minute}, "out of turn"
        seen.add(t.person_id)


@given(nights())
def test_nobody_is_told_the_same_way_again_sooner_than_the_farm_wants(night: Night) -> None:
    """Whatever became of the last time: a gateway that is down now must not fill up with texts for later."""
    lived = live(night, EVERY_MINUTE)
    for person in _reachable(night):
        for way in Way:
            for one, next_one in pairwise(t for t in lived.to(person) if t.way is way):
                assert (next_one.minute - one.minute) * MINUTE_MS >= night.pace.again_ms


@given(nights(), st.integers(0, 100), st.sampled_from([1, 7]))
def test_in_other_portions_nobody_is_told_twice_for_one_step_and_nobody_is_forgotten(
    night: Night, stop: int, every: int
) -> None:
    looks = [now for now in range(0, LAST, every) if not stop <= now < stop + 120]
    lived = live(night, looks)
    assert not lived.open
    steps = Counter((t.step, t.person_id) for t in lived.told)
    assert not [step for step, times in steps.items() if times > 1]
    told = {t.person_id for t in lived.told}
    if not lived.going():
        assert {who for who in _reachable(night) if who not in lived.cannot()} <= told
