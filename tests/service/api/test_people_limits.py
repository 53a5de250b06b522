"""Limits for people can be looked at and set, the top of a probe said, and a room shows how it stands."""

from __future__ import annotations

from typing import Any

import pytest

from tests.support import farmyard
from tests.support.api import Api
from tests.support.breathing import HIGH_NOW, breathe, grow_above_on_purpose
from tests.support.watched import judge_at

OWN: dict[str, Any] = {
    "eight_hours_ppm": 3000,
    "fifteen_minutes_ppm": 15000,
    "ceiling_ppm": 20000,
    "who": "Ines",
}
AT = "/api/farm/people-limits"


async def test_the_usual_limits_stand_with_their_source(one_api: Api) -> None:
    said = await one_api.get(AT)
    assert (said["eight_hours"]["ppm"], said["fifteen_minutes"]["ppm"], said["ceiling"]) == (5000, 30000, None)
    assert "29 CFR 1910.1000" in said["eight_hours"]["source"]
    assert "Local codes" in said["caution"]


async def test_a_farm_sets_its_own_and_takes_the_usual_again(api: Api) -> None:
    said = await api.put(AT, OWN)
    assert [said[name]["ppm"] for name in ("eight_hours", "fifteen_minutes", "ceiling")] == [3000, 15000, 20000]
    assert await api.get(AT) == said
    assert (api.desk.farm["people_8h_ppm"], api.desk.farm["who"]) == (3000, "Ines")
    none = {"eight_hours_ppm": None, "fifteen_minutes_ppm": None, "ceiling_ppm": None}
    again = await api.put(AT, {**OWN, **none})
    assert (again["eight_hours"]["ppm"], again["ceiling"]) == (5000, None)


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"eight_hours_ppm": 0}, "body.eight_hours_ppm"),
        ({"eight_hours_ppm": 50000}, "body.eight_hours_ppm"),
        ({"fifteen_minutes_ppm": 100000}, "body.fifteen_minutes_ppm"),
        ({"fifteen_minutes_ppm": 2000}, "body"),
        ({"ceiling_ppm": 2000}, "body"),
        ({"ceiling_ppm": "20000"}, "body.ceiling_ppm"),
        ({"who": " "}, "body.who"),
        ({"shelve": True}, "body.shelve"),
    ],
)
async def test_what_cannot_be_meant_is_refused(one_api: Api, change: dict[str, Any], where: str) -> None:
    said = await one_api.put(AT, {**OWN, **change}, expect=422)
    assert any(wrong["where"].startswith(where) for wrong in said["errors"])
    assert one_api.desk.farm["people_8h_ppm"] is None


async def test_somebody_says_how_far_a_probe_reads(api: Api) -> None:
    said = await api.put("/api/probes/h7-door/top", {"co2_top_ppm": 5000, "who": "Ines"})
    assert said["co2_top_by"] == "Ines"
    assert said["co2_top_ppm"] == 5000
    assert {p["probe_id"]: p["co2_top_ppm"] for p in await api.get("/api/probes")}["h7-door"] == 5000
    assert (await api.put("/api/probes/h7-door/top", {"co2_top_ppm": None, "who": "Ines"}))["co2_top_ppm"] is None


async def test_the_top_of_a_probe_nobody_knows_or_that_cannot_be_is_refused(one_api: Api) -> None:
    await one_api.put("/api/probes/nobody/top", {"co2_top_ppm": 5000, "who": "Ines"}, expect=404)
    await one_api.put("/api/probes/h7-door/top", {"co2_top_ppm": 10, "who": "Ines"}, expect=422)
    await one_api.put("/api/probes/h7-door/top", {"co2_top_ppm": 5000}, expect=422)


async def test_a_room_shows_how_it_stands_and_what_to_mind(one_api: Api) -> None:
    room = await one_api.get("/api/rooms/house-7")
    assert (room["people"], room["air_out_before_entry"], room["cautions"]) == (None, False, [])
    await breathe(one_api.desk.database, [HIGH_NOW] * 20, start=-20)
    await judge_at(one_api.desk.database, one_api.desk.farm, 0)
    room = await one_api.get("/api/rooms/house-7")
    assert room["people"]["passed"] == ["15 minutes"]
    assert room["people"]["now_ppm"] == HIGH_NOW
    assert room["people"]["fifteen_minutes"] == {"ppm": HIGH_NOW, "at_least": False, "coverage": 1.0}
    assert room["people"]["eight_hours"]["at_least"]
    assert room["air_out_before_entry"]
    assert room["cautions"][0] == "Air out before entry."
    assert [(a["quantity"], a["side"]) for a in room["open_alarms"] if a["side"] == "people"] == [
        ("co2", "people")
    ]


async def test_a_stage_grown_above_on_purpose_is_marked_whatever_is_heard(one_api: Api) -> None:
    await grow_above_on_purpose(one_api.desk.database)
    room = await one_api.get("/api/rooms/house-7")
    assert (room["people"], room["air_out_before_entry"]) == (None, True)
    assert farmyard.ROOMS[0][0] == room["room_id"]
