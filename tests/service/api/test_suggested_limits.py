"""What the first days of a room suggest, over HTTP. House 7 is told below 85 %RH; a step is 2 points."""

from __future__ import annotations

from typing import Any

from rules.model import MINUTE_MS
from tests.support import farmyard
from tests.support.api import Api, open_api
from tests.support.clock import HandClock
from tests.support.watched import GOOD, VERY_DRY, hear, judge_at, minute, restart_first_days


async def humidity_after(api: Api, values: list[float]) -> Any:
    """The low humidity limit of House 7 after first days in which it showed these values, one a minute."""
    database, farm = api.desk.database, await farmyard.the_farm(api.desk.database)
    await judge_at(database, farm, 0)
    await restart_first_days(database)
    await hear(database, values)
    await judge_at(database, farm, *range(3, len(values) + 10, 3))
    async with open_api(database, farm, HandClock(minute(0) + len(values) * MINUTE_MS)) as later:
        found = await later.get("/api/rooms/house-7/first-days")
    return next(one for one in found["limits"] if (one["quantity"], one["side"]) == ("humidity", "low"))


async def test_the_nearest_limit_that_would_have_been_quiet_is_suggested(api: Api) -> None:
    found = await humidity_after(api, [*[GOOD] * 10, *[82.5] * 20, *[GOOD] * 20])

    assert (found["limit"], found["times"], found["suggested"]) == (85, 1, 81)
    assert found["suggestion"] == "with a limit of 81% these days would have been quiet"


async def test_a_room_that_was_far_out_needs_a_look_and_not_another_limit(one_api: Api) -> None:
    found = await humidity_after(one_api, [*[GOOD] * 10, *[VERY_DRY] * 20, *[GOOD] * 20])

    assert (found["times"] > 0, found["suggested"]) == (True, None)
    assert found["suggestion"] == "no limit within reason would have been quiet; look at the room first"


async def test_calm_days_suggest_nothing(one_api: Api) -> None:
    found = await humidity_after(one_api, [GOOD] * 30)
    assert (found["times"], found["suggested"], found["suggestion"]) == (0, None, None)
