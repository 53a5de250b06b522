"""A limit tried on a room's history over HTTP."""

from __future__ import annotations

from tests.support import farmyard
from tests.support.api import Api
from tests.support.watched import DRY_HALF_HOUR, hear, judge_at

AT = "/api/rooms/house-7/replay"
SPAN = {"from": "2026-11-25T06:00:00-05:00", "to": "2026-11-25T12:00:00-05:00"}


async def dry_morning(api: Api) -> None:
    """House 7 is told at minute 13 and is back at minute 30."""
    farm = await farmyard.the_farm(api.desk.database)
    await judge_at(api.desk.database, farm, 0)
    await hear(api.desk.database, DRY_HALF_HOUR)
    await judge_at(api.desk.database, farm, *range(1, 40, 3))


async def test_without_another_figure_it_is_what_was_told(api: Api) -> None:
    await dry_morning(api)
    found = await api.get(AT, **SPAN)

    assert (found["texts"], found["texts_then"]) == (1, 1)
    assert found["said"] == "1 text; all as it was said."
    assert [(line["kind"], line["text"], line["mark"]) for line in found["lines"]] == [
        ("trouble", True, "as it was said"),
        ("back", True, "as it was said"),
    ]
    assert found["lines"][0]["at"] == found["lines"][0]["told_then"]
    assert "House 7: humidity low, 80%, limit 85%" in found["lines"][0]["said"]


async def test_another_limit_or_wait_says_what_would_have_been(one_api: Api) -> None:
    await dry_morning(one_api)
    lower = await one_api.get(AT, **SPAN, limit="humidity-low=79")
    slower = await one_api.get(AT, **SPAN, limit="humidity-low=84", wait="humidity-low=12")

    assert (lower["texts"], lower["said"]) == (0, "No text instead of 1.")
    assert {line["mark"] for line in lower["lines"]} == {"would not have been said"}
    assert slower["lines"][0]["mark"] == "4 min later than it was said"


async def test_what_cannot_be_tried_is_refused_in_words(one_api: Api) -> None:
    await one_api.refused("/api/rooms/nowhere/replay", expect=404)
    said = await one_api.refused(AT, expect=422, limit="humidity<80")
    assert "like humidity-low=80" in said["detail"]
    long = await one_api.refused(AT, expect=422, **{"from": "2026-01-01T00:00:00Z"})
    assert "at most 100 days" in long["detail"]


async def test_a_room_that_never_heard_anything_has_nothing_to_say(one_api: Api) -> None:
    found = await one_api.get("/api/rooms/house-3/replay")
    assert (found["lines"], found["said"]) == ([], "Nothing was said, and nothing would have been.")
