"""Batches come, move and change stage; what was written down stays."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import HOUR_MS
from service.api.moments import show_moment
from tests.support import farmyard
from tests.support.api import Api

BATCH: dict[str, Any] = {
    "batch_id": "NA-7", "profile": "nameko", "strain": "Amber", "count": 300, "container": "bag",
    "room_id": "house-3", "stage": "fruiting", "who": "Ines",
}  # fmt: skip
NOW = show_moment(farmyard.NOW_MS)


BY: dict[str, Any] = {"profile": "nameko", "version": 1}


async def test_a_batch_is_written_down_with_where_it_begins(one_api: Api) -> None:
    since = show_moment(farmyard.NOW_MS - 30 * HOUR_MS)
    said = await one_api.post("/api/batches", {**BATCH, "from": since})
    assert said["stays"] == [
        {**BY, "room_id": "house-3", "stage": "fruiting", "since": since, "recorded": NOW, "who": "Ines"}
    ]
    assert (said["profile"], said["version"], said["count"]) == ("nameko", 1, 300)
    assert await one_api.get("/api/batches/NA-7") == said
    await one_api.post("/api/batches", BATCH, expect=409)


async def test_a_batch_moves_and_its_earlier_stays_remain(one_api: Api) -> None:
    said = await one_api.post("/api/batches/SH-41/stays", {"room_id": None, "stage": "rest", "who": "Ben"})
    assert [(s["room_id"], s["stage"], s["who"]) for s in said["stays"]] == [
        ("house-7", "pinning", "Ines"),
        (None, "rest", "Ben"),
    ]


async def test_a_slip_is_put_right_by_a_second_entry_for_the_same_moment(api: Api) -> None:
    stays = "/api/batches/SH-41/stays"
    await api.post(stays, {"room_id": "house-7", "stage": "rest", "who": "Ben", "from": NOW})
    said = await api.post(stays, {"room_id": "house-7", "stage": "fruiting", "who": "Ben", "from": NOW})
    assert [s["stage"] for s in said["stays"]] == ["pinning", "rest", "fruiting"]
    assert [c["stage"] for c in (await api.get("/api/rooms/house-7"))["crops"]] == ["fruiting"]


async def test_a_move_before_the_last_one_is_refused_and_nothing_moves(one_api: Api) -> None:
    before = await one_api.get("/api/batches/SH-41")
    early = show_moment(farmyard.NOW_MS - 40 * HOUR_MS)
    asked = {"room_id": None, "stage": "rest", "who": "Ben", "from": early}
    await one_api.post("/api/batches/SH-41/stays", asked, expect=409)
    assert await one_api.get("/api/batches/SH-41") == before


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"room_id": "nowhere"}, 404),
        ({"profile": "truffle"}, 404),
        ({"version": 99}, 404),
        ({"stage": "dreaming"}, 404),
        ({"count": 2.5}, 422),
        ({"count": 10**12}, 422),
        ({"batch_id": ""}, 422),
        ({"from": "2030-01-01T00:00:00Z"}, 422),
        ({"from": "1969-12-31T23:59:59Z"}, 422),
        ({"strain": "a\x07"}, 422),
    ],
)
async def test_a_batch_that_cannot_be_is_refused_and_not_kept(
    one_api: Api, change: dict[str, Any], status: int
) -> None:
    await one_api.post("/api/batches", {**BATCH, **change}, expect=status)
    await one_api.refused("/api/batches/NA-7", expect=404)


async def test_moving_what_is_not_there_is_refused(one_api: Api) -> None:
    asked = {"room_id": None, "stage": "rest", "who": "Ben"}
    await one_api.post("/api/batches/none/stays", asked, expect=404)
