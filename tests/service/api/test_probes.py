"""Probes wait to be placed, hang somewhere, and the past of their places stays."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import DAY_MS, HOUR_MS, Quantity
from service.api.moments import show_moment
from tests.support import farmyard
from tests.support.api import Api

PLACE: dict[str, Any] = {"room_id": "house-7", "place": "floor", "who": "Ines"}


async def hear(api: Api, probe: str = "new: 1") -> None:
    points = [(farmyard.NOW_MS - HOUR_MS, 12.0), (farmyard.NOW_MS - 2 * HOUR_MS, 11.0)]
    await farmyard.send(api.desk.database, api.desk.farm_id, probe, Quantity.TEMPERATURE, points)


async def test_a_probe_that_is_heard_waits_to_be_placed_with_its_newest_value(api: Api) -> None:
    await hear(api)
    (waiting,) = await api.get("/api/probes", waiting="true")
    assert waiting["probe_id"] == "new: 1"
    assert waiting["room_id"] is None
    assert waiting["newest"] == [
        {"quantity": "temperature", "value": 12.0, "unit": "Cel", "at": show_moment(farmyard.NOW_MS - HOUR_MS)}
    ]
    assert waiting["last_heard"] == show_moment(farmyard.NOW_MS - HOUR_MS + farmyard.WAY_LATE_MS)
    assert len(await api.get("/api/probes", waiting="false")) == len(farmyard.PROBES)


async def test_a_placed_probe_waits_no_longer(one_api: Api) -> None:
    await hear(one_api)
    said = await one_api.post("/api/probes/new:%201/placements", PLACE)
    assert said == {
        "probe_id": "new: 1", "room_id": "house-7", "place": "floor", "who": "Ines",
        "since": show_moment(farmyard.NOW_MS),
    }  # fmt: skip
    assert await one_api.get("/api/probes", waiting="true") == []


async def test_a_probe_may_be_placed_before_it_is_heard(one_api: Api) -> None:
    await one_api.post("/api/probes/later/placements", PLACE)
    probe = next(p for p in await one_api.get("/api/probes") if p["probe_id"] == "later")
    assert probe["last_heard"] is None
    assert probe["place"] == "floor"


async def test_taking_a_probe_out_leaves_it_waiting(one_api: Api) -> None:
    await one_api.post("/api/probes/h7-back/placements", {**PLACE, "room_id": None, "place": ""})
    assert [p["probe_id"] for p in await one_api.get("/api/probes", waiting="true")] == ["h7-back"]


async def test_a_placement_before_the_last_one_is_refused(one_api: Api) -> None:
    early = show_moment(farmyard.NOW_MS - 11 * DAY_MS)
    said = await one_api.post("/api/probes/h7-back/placements", {**PLACE, "from": early}, expect=409)
    assert "already" in said["detail"]
    late = show_moment(farmyard.NOW_MS - HOUR_MS)
    assert (await one_api.post("/api/probes/h7-back/placements", {**PLACE, "from": late}))["since"] == late


async def test_a_probe_hangs_nowhere_else_while_it_still_hung_where_it_was_taken_out(one_api: Api) -> None:
    moments = {hours: show_moment(farmyard.NOW_MS - hours * HOUR_MS) for hours in (1, 2)}
    out = {**PLACE, "room_id": None, "place": "", "from": moments[1]}
    await one_api.post("/api/probes/h7-back/placements", out)
    await one_api.post("/api/probes/h7-back/placements", {**PLACE, "from": moments[2]}, expect=409)
    await one_api.post("/api/probes/h7-back/placements", {**PLACE, "from": moments[1]})


@pytest.mark.parametrize(
    ("probe", "change", "status"),
    [
        ("h7-back", {"room_id": "nowhere"}, 404),
        ("h7-back", {"from": "2027-11-25T06:00:00Z"}, 422),
        ("_ours", {}, 422),
        ("a%00b", {}, 422),
        ("h7-back", {"place": "two\nlines"}, 422),
        ("h7-back", {"wher": "x"}, 422),
    ],
)
async def test_a_placement_that_cannot_be_is_refused(
    one_api: Api, probe: str, change: dict[str, Any], status: int
) -> None:
    before = await one_api.get("/api/probes")
    await one_api.post(f"/api/probes/{probe}/placements", {**PLACE, **change}, expect=status)
    assert await one_api.get("/api/probes") == before
