"""What counts as a text that would have gone out. The rules are the project's own."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import Quantity, Side
from service.reports.first_days import would_have_texted

pytestmark = pytest.mark.pure

DRY = (Quantity.HUMIDITY, Side.LOW)
WARM = (Quantity.TEMPERATURE, Side.HIGH)


def _notice(at_ms: int, key: tuple[Quantity, Side] = DRY, **changes: Any) -> dict[str, Any]:
    facts = {"quantity": key[0].value, "side": key[1].value, "far": changes.pop("far", False)}
    facts["learned_late"] = changes.pop("late", False)
    usual = {"at_ms": at_ms, "kind": "trouble", "telling": "round", "happening_id": "h", "facts": facts}
    return {**usual, **changes}


def test_a_happening_has_one_first_text_whatever_else_is_passed_meanwhile() -> None:
    assert would_have_texted([_notice(1), _notice(2, WARM), _notice(3)]) == {DRY: [1]}


def test_each_happening_counts_for_the_limit_that_began_it() -> None:
    notices = [_notice(1), _notice(5, WARM, happening_id="i"), _notice(9, happening_id="j")]
    assert would_have_texted(notices) == {DRY: [1, 9], WARM: [5]}


def test_a_far_limit_speaks_again() -> None:
    assert would_have_texted([_notice(1), _notice(2, kind="deeper")]) == {DRY: [1, 2]}
    assert would_have_texted([_notice(1), _notice(2, WARM, far=True)]) == {DRY: [1], WARM: [2]}


@pytest.mark.parametrize("change", [{"kind": "held"}, {"kind": "back"}, {"late": True}])
def test_what_would_have_woken_nobody_does_not_count(change: dict[str, Any]) -> None:
    assert would_have_texted([_notice(1, **change), _notice(2)]) == {DRY: [2]}


def test_what_did_wake_somebody_is_not_counted_and_still_was_the_first_text() -> None:
    assert would_have_texted([_notice(1, telling="wake"), _notice(2, WARM)]) == {}
