"""Where batches were: from rows as they were written down to times. Worked out by hand."""

from __future__ import annotations

from typing import Any

import pytest

from rules.stays import present, stays_in_order

pytestmark = pytest.mark.pure


def row(batch: str, from_ms: int, room: str | None, stage: str, **changes: Any) -> dict[str, Any]:
    known = {"batch_id": batch, "valid_from_ms": from_ms, "room_id": room, "stage": stage}
    return {**known, "profile": "shiitake", "version": 1, **changes}


def test_a_stay_holds_until_the_next_one_of_its_batch() -> None:
    first, second = stays_in_order([row("a", 10, "h1", "pinning"), row("a", 20, "h2", "pinning")])

    assert (first.from_ms, first.to_ms, second.from_ms, second.to_ms) == (10, 20, 20, None)


def test_moving_does_not_restart_the_stage() -> None:
    stays = stays_in_order(
        [row("a", 10, "h1", "pinning"), row("a", 20, "h2", "pinning"), row("a", 30, "h2", "fruiting")]
    )

    assert [s.stage_since_ms for s in stays] == [10, 10, 30]


def test_of_two_for_the_same_moment_the_later_recorded_counts() -> None:
    (stay,) = stays_in_order([row("a", 10, "h1", "pinning"), row("a", 10, "h1", "fruiting")])

    assert stay.stage == "fruiting"


def test_who_is_in_a_room_at_a_moment() -> None:
    stays = stays_in_order(
        [row("a", 10, "h1", "pinning"), row("a", 20, None, "rest"), row("b", 15, "h1", "fruiting")]
    )

    assert [[s.batch for s in present(stays, "h1", at)] for at in (9, 10, 15, 19, 20)] == [
        [],
        ["a"],
        ["a", "b"],
        ["a", "b"],
        ["b"],
    ]
