"""How long a stated compromise stands. The rule is the project's own; the cases are worked by hand."""

from __future__ import annotations

import json
from collections.abc import Mapping

import pytest

from rules.compromise import Compromises, Shares, Stated, covers, follow, from_facts, stated_rows, to_facts
from rules.model import Quantity
from rules.profile import Band
from rules.sharing import Sharer, sharing
from tests.support.rooms import band, profile, stage

pytestmark = pytest.mark.pure

T, H = Quantity.TEMPERATURE, Quantity.HUMIDITY


def crop(name: str, bands: Mapping[Quantity, Band], batch: str = "1") -> Sharer:
    here = stage({}, bands=bands)
    return Sharer(batch=f"{name}-{batch}", profile=profile(here, name=name), stage=here)


COOL = crop("cool", {T: band(10, 16)})
WARM = crop("warm", {T: band(20, 30)})
HOT = crop("hot", {T: band(25, 35)})
BOTH = crop("both", {T: band(10, 30)})
MOIST = crop("moist", {H: band(80, 90)})


def said(at_ms: int, *crops: Sharer, recorded_ms: int = 0, who: str = "Ines") -> Stated:
    return Stated(from_ms=at_ms, recorded_ms=recorded_ms, who=who, share=sharing(crops)[T])


def follow_room(stated: list[Stated], history: Mapping[int, tuple[Sharer, ...]]) -> Compromises:
    def shares_at(at_ms: int) -> Shares:
        return sharing(history[max(at for at in history if at <= at_ms)])

    return follow(stated, changes=history, shares_at=shares_at)


def who_at(kept: Compromises, at_ms: int) -> str | None:
    found = kept.at(at_ms).get(T)
    return None if found is None else found.who


def test_it_stands_from_its_moment_until_further_notice() -> None:
    kept = follow_room([said(10, COOL, WARM)], {0: (COOL,), 10: (COOL, WARM)})

    assert [who_at(kept, at) for at in (9, 10, 10_000)] == [None, "Ines", "Ines"]
    assert kept.moments() == {10}


def test_it_ends_when_what_is_left_has_something_in_common_and_does_not_come_back() -> None:
    history = {10: (COOL, WARM), 20: (COOL,), 30: (COOL, WARM)}
    kept = follow_room([said(10, COOL, WARM)], history)

    assert [who_at(kept, at) for at in (10, 19, 20, 30)] == ["Ines", "Ines", None, None]
    assert kept.moments() == {10, 20}


def test_another_kind_ends_it() -> None:
    kept = follow_room([said(10, COOL, WARM)], {10: (COOL, WARM), 20: (COOL, WARM, BOTH)})

    assert [who_at(kept, at) for at in (19, 20)] == ["Ines", None]


def test_more_of_the_same_kind_and_what_has_no_band_of_it_change_nothing() -> None:
    second = crop("cool", {T: band(10, 16)}, batch="2")
    kept = follow_room([said(10, COOL, WARM)], {10: (COOL, WARM), 20: (COOL, second, WARM, MOIST)})

    assert who_at(kept, 20) == "Ines"


def test_it_goes_on_for_those_left_while_they_have_nothing_in_common() -> None:
    kept = follow_room([said(10, COOL, WARM, HOT)], {10: (COOL, WARM, HOT), 20: (COOL, HOT), 30: (WARM, HOT)})

    assert [who_at(kept, at) for at in (20, 29, 30)] == ["Ines", "Ines", None]


def test_one_that_never_fitted_never_stands() -> None:
    """A slip put right: the batch written down for that moment was another."""
    kept = follow_room([said(10, COOL, WARM)], {10: (COOL, HOT)})

    assert who_at(kept, 10) is None


def test_of_several_the_one_that_begins_last_counts_then_the_newest() -> None:
    stated = [
        said(10, COOL, WARM, recorded_ms=5, who="new"),
        said(10, COOL, WARM, recorded_ms=3, who="old"),
        said(20, COOL, WARM, recorded_ms=1, who="later"),
    ]
    kept = follow_room(stated, {10: (COOL, WARM), 20: (COOL, WARM)})

    assert [who_at(kept, at) for at in (10, 20)] == ["new", "later"]


def test_a_quantity_nobody_has_a_band_for_is_not_covered() -> None:
    assert not covers(said(0, COOL, WARM), sharing([MOIST]))


def test_facts_come_back_from_json_as_they_were() -> None:
    share = sharing([COOL, WARM, BOTH])[T]
    facts = json.loads(json.dumps(to_facts(share)))

    assert from_facts(facts) == share
    (read,) = stated_rows([{"from_ms": 1, "recorded_ms": 2, "who": "Ines", "facts": facts, "low": 17.0}])
    assert read == Stated(from_ms=1, recorded_ms=2, who="Ines", share=share)
