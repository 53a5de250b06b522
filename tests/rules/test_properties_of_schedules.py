"""A schedule of limits leaves out no moment at which something changes.

Random rooms, all invented; what must hold is this project's own rule. No outside source.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.evaluate import in_force
from rules.limits import Hold, Why
from rules.model import MINUTE_MS, Quantity
from rules.schedule import Back, Growing, UsualMade, schedule
from rules.stays import stays_in_order
from rules.usual import Usual
from tests.support.rooms import CO2_HIGH, HUMIDITY_LOW, WARM, minute, profile, stage, text_limit
from tests.support.steady import STEADY

pytestmark = pytest.mark.pure

STAGES: Final = (
    replace(
        stage({HUMIDITY_LOW: text_limit(85), CO2_HIGH: text_limit(1500)}, name="pins"), ramp_ms=20 * MINUTE_MS
    ),
    stage({HUMIDITY_LOW: replace(text_limit(75), below_usual=12), WARM: text_limit(24)}, name="fruit"),
    stage({HUMIDITY_LOW: text_limit(60)}, name="rest"),
)
OYSTER: Final = profile(*STAGES)
minutes: Final = st.integers(0, 240)
spans: Final = st.tuples(minutes, minutes).map(sorted)


@st.composite
def rooms(draw: st.DrawFn) -> Growing:
    """Batches come, change and go; people work, leave limits, and stand for figures; usual values are made."""
    rows = [
        row
        for batch in draw(st.sets(st.sampled_from(["a", "b", "c"]), min_size=1))
        for row in draw(st.lists(_rows(batch), min_size=1, max_size=4))
    ]
    rows.sort(key=lambda row: (row["batch_id"], row["valid_from_ms"]))
    confirmed = draw(st.dictionaries(st.sampled_from([s.name for s in STAGES]), minutes))
    return Growing(
        room_id="h1",
        stays=stays_in_order(rows),
        profiles={("oyster", 1): OYSTER},
        confirmed={("oyster", 1, name): minute(at) for name, at in confirmed.items()},
        wakes_from_ms=minute(draw(minutes)),
        backs=draw(st.lists(_backs(), max_size=3)),
        usuals=draw(st.lists(_usuals(), max_size=3)),
    )


@st.composite
def _rows(draw: st.DrawFn, batch: str) -> dict[str, Any]:
    return {
        "batch_id": batch,
        "room_id": draw(st.sampled_from(["h1", "h1", "h2", None])),
        "stage": draw(st.sampled_from([s.name for s in STAGES])),
        "profile": "oyster",
        "version": 1,
        "valid_from_ms": minute(draw(minutes)),
    }


@st.composite
def _backs(draw: st.DrawFn) -> Back:
    start, end = draw(spans)
    why = draw(st.sampled_from([Why.WORKING, Why.LEFT]))
    hold = Hold(why=why, from_ms=minute(start), until_ms=minute(end), who="Ana")
    quantity, side = draw(st.sampled_from([(None, None), HUMIDITY_LOW, WARM]))
    return Back(hold=hold, quantity=quantity, side=side)


@st.composite
def _usuals(draw: st.DrawFn) -> UsualMade:
    start, end = draw(spans)
    values = draw(st.lists(st.sampled_from([None, 80.0, 92.0, 96.0]), min_size=1, max_size=4))
    steps = tuple((minute(at), value) for at, value in zip(count(start, 30), values, strict=False) if at <= end)
    usual = Usual(quantity=Quantity.HUMIDITY, from_ms=minute(start), until_ms=minute(end), steps=steps)
    return UsualMade(made_ms=minute(start) - MINUTE_MS, usual=usual)


@settings(STEADY, max_examples=60)
@given(rooms(), st.lists(st.integers(-10, 260).map(minute), min_size=1, max_size=40))
def test_at_every_moment_the_schedule_says_what_holds_at_that_moment(growing: Growing, moments: list[int]) -> None:
    limits = schedule(growing)
    for at_ms in moments:
        holds = growing.limits_at(at_ms)
        said = in_force(limits, at_ms)
        assert (said.limits, said.holds) == (holds.limits, holds.holds)


@settings(STEADY, max_examples=40)
@given(rooms(), spans)
def test_a_part_of_a_schedule_says_the_same_as_the_whole(growing: Growing, span: list[int]) -> None:
    since_ms, until_ms = (minute(at) for at in span)
    whole, part = schedule(growing), schedule(growing, since_ms=since_ms, until_ms=until_ms)
    for at_ms in range(since_ms, until_ms + 1, 5 * MINUTE_MS):
        there, here = in_force(whole, at_ms), in_force(part, at_ms)
        assert (here.limits, here.holds) == (there.limits, there.holds)


@settings(STEADY, max_examples=40)
@given(rooms())
def test_every_hold_names_its_end_and_its_limit_is_there(growing: Growing) -> None:
    """Nothing is held back without an end, without a name, or where there is nothing to hold back."""
    for limits in schedule(growing):
        assert limits.holds.keys() <= limits.limits.keys()
        assert all(hold.from_ms <= limits.from_ms < hold.until_ms and hold.who for hold in limits.holds.values())
