"""One limit with its delays and margin.

``tests/reference/alarm_scenarios.csv`` holds sample series whose answers were worked out from the text of OPC
10000-9 (UA Part 9), B.1.5 and 5.8, which restates ISA-18.2. All of its series have no delays; the delays are
checked here against the sentences of that text: raised only after the *whole* on-delay, cleared only after the
value has come back by the deadband for the *whole* off-delay.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from rules.condition import Limit, Phase, Watch, due_ms, elapse, see
from rules.model import SECOND_MS, Instant, Side

pytestmark = pytest.mark.pure

REFERENCE = Path(__file__).parents[1] / "reference" / "alarm_scenarios.csv"
ROWS = list(csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines()))

QUIET = Watch(phase=Phase.INSIDE, since_ms=0)
LOW = Limit(side=Side.LOW, limit=85.0, wait_ms=60_000, recover_margin=2.0, recover_ms=30_000)
HIGH = Limit(side=Side.HIGH, limit=18.0, wait_ms=60_000, recover_margin=0.5, recover_ms=30_000)


def _limit(inputs: dict[str, Any]) -> Limit:
    side = Side.LOW if "low_limit" in inputs else Side.HIGH
    return Limit(
        side=side,
        limit=inputs[f"{side.value}_limit"],
        wait_ms=0,
        recover_margin=inputs.get("deadband", 0),
        recover_ms=0,
    )


def _phases(limit: Limit, samples: list[tuple[Instant, float]]) -> list[tuple[Instant, Phase]]:
    """Moments at which an alarm began (BEYOND) or ended (INSIDE), one sample after another."""
    watch = QUIET
    found: list[tuple[Instant, Phase]] = []
    for at_ms, value in samples:
        beyond = watch.phase is Phase.BEYOND
        watch = elapse(limit, see(limit, elapse(limit, watch, at_ms), at_ms, value), at_ms)
        if (watch.phase is Phase.BEYOND) is not beyond:
            found.append((watch.since_ms, watch.phase))
    return found


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['id']}-{row['scenario']}" for row in ROWS])
def test_the_published_rule_gives_the_worked_out_answer(row: dict[str, str]) -> None:
    inputs = json.loads(row["inputs"])
    samples = [(seconds * SECOND_MS, value) for seconds, value in inputs["samples"]]
    found = _phases(_limit(inputs), samples)
    answers = {
        "raises": sum(phase is Phase.BEYOND for _, phase in found),
        "clears": sum(phase is Phase.INSIDE for _, phase in found),
        "s, time of clear": [at_ms / SECOND_MS for at_ms, phase in found if phase is Phase.INSIDE][-1],
    }
    assert answers[row["unit"]] == float(row["expected"]), row["source"]


def test_the_reference_file_is_whole() -> None:
    assert [row["id"] for row in ROWS] == [
        *("ALS-001", "ALS-002", "ALS-011", "ALS-012", "ALS-013", "ALS-014", "ALS-016"),
    ]


@pytest.mark.parametrize(
    ("limit", "value", "beyond"),
    [(LOW, 85.0, False), (LOW, 84.99, True), (HIGH, 18.0, False), (HIGH, 18.01, True)],
)
def test_a_value_exactly_on_the_limit_is_not_beyond_it(limit: Limit, value: float, *, beyond: bool) -> None:
    assert limit.is_beyond(value) is beyond


@pytest.mark.parametrize(
    ("limit", "value", "back"),
    [(LOW, 87.0, True), (LOW, 86.99, False), (HIGH, 17.5, True), (HIGH, 17.51, False)],
)
def test_a_value_exactly_on_limit_and_margin_is_back(limit: Limit, value: float, *, back: bool) -> None:
    assert limit.is_back(value) is back


@pytest.mark.parametrize("side", Side)
def test_tenths_that_add_up_on_paper_add_up_here(side: Side) -> None:
    """16.1 and 0.3 make 16.400000000000002 in binary; a probe that reports 16.4 is back all the same."""
    sign = 1 if side is Side.LOW else -1
    for tenths in range(1, 400):
        for margin in range(1, 21):
            limit = Limit(side=side, limit=tenths / 10, wait_ms=0, recover_margin=margin / 10, recover_ms=0)
            assert limit.is_back((tenths + sign * margin) / 10)
            assert not limit.is_back((tenths + sign * margin - sign) / 10)


def test_a_wait_is_over_at_the_moment_it_ends_and_not_before() -> None:
    waiting = see(LOW, QUIET, 1000, 84.0)
    assert waiting == Watch(phase=Phase.WAITING, since_ms=1000)
    assert due_ms(LOW, waiting) == 61_000
    assert elapse(LOW, waiting, 60_999) is waiting
    assert elapse(LOW, waiting, 61_000) == Watch(phase=Phase.BEYOND, since_ms=61_000)


def test_a_timer_that_fires_late_still_ended_when_it_was_due() -> None:
    waiting = see(LOW, QUIET, 1000, 84.0)
    assert elapse(LOW, waiting, 500_000) == Watch(phase=Phase.BEYOND, since_ms=61_000)


def test_one_value_inside_within_the_wait_starts_it_anew() -> None:
    waiting = see(LOW, see(LOW, see(LOW, QUIET, 0, 84.0), 59_999, 85.0), 70_000, 84.0)
    assert waiting == Watch(phase=Phase.WAITING, since_ms=70_000)


def test_between_limit_and_margin_an_alarm_neither_begins_nor_ends() -> None:
    beyond = Watch(phase=Phase.BEYOND, since_ms=0)
    assert see(LOW, QUIET, 5, 86.0) is QUIET
    assert see(LOW, beyond, 5, 86.0) is beyond


def test_coming_back_must_last_for_the_whole_recover_time() -> None:
    recovering = see(LOW, Watch(phase=Phase.BEYOND, since_ms=0), 10_000, 87.0)
    assert recovering == Watch(phase=Phase.RECOVERING, since_ms=10_000)
    assert due_ms(LOW, recovering) == 40_000
    assert elapse(LOW, recovering, 39_999) is recovering
    assert elapse(LOW, recovering, 40_000) == Watch(phase=Phase.INSIDE, since_ms=40_000)
    assert see(LOW, recovering, 20_000, 86.9) == Watch(phase=Phase.BEYOND, since_ms=20_000)


def test_a_timer_is_only_running_while_something_is_waited_for() -> None:
    for phase in (Phase.INSIDE, Phase.BEYOND):
        watch = Watch(phase=phase, since_ms=0)
        assert due_ms(HIGH, watch) is None
        assert elapse(HIGH, watch, 10**9) is watch


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (Phase.INSIDE, Phase.INSIDE),
        (Phase.WAITING, Phase.INSIDE),
        (Phase.BEYOND, Phase.BEYOND),
        (Phase.RECOVERING, Phase.BEYOND),
    ],
)
def test_not_knowing_stops_a_timer_and_changes_nothing_else(before: Phase, after: Phase) -> None:
    watch = Watch(phase=before, since_ms=7)
    assert see(HIGH, watch, 20, None) == Watch(phase=after, since_ms=7 if after is before else 20)
