"""Rooms are added, looked at and given a crop; nothing that was written down changes."""

from __future__ import annotations

from typing import Any

import pytest

from rules.model import DAY_MS, HOUR_MS, Quantity
from service.api.moments import show_moment
from tests.support import farmyard
from tests.support.api import Api, go_dry

ROOM = {"room_id": "house-9", "name": "House 9, north side", "kind": "fruiting", "who": "Ines"}
NOW = show_moment(farmyard.NOW_MS)


async def test_a_new_room_gets_a_name_that_texts_can_carry_and_seven_first_days(one_api: Api) -> None:
    said = await one_api.post("/api/rooms", {**ROOM, "name": "Cámara fría nº 9"})
    assert said["text_name"] == "Camara fria"
    assert said["name"] == "Cámara fría nº 9"
    assert said["created"] == NOW
    assert said["first_days_end"] == show_moment(farmyard.NOW_MS + 7 * DAY_MS)
    assert (await one_api.get("/api/rooms"))[-1] == said


async def test_a_room_whose_name_no_text_can_carry_needs_another(one_api: Api) -> None:
    said = await one_api.post("/api/rooms", {**ROOM, "name": "蘑菇房"}, expect=422)
    assert "text message" in said["detail"]
    made = await one_api.post("/api/rooms", {**ROOM, "name": "蘑菇房", "text_name": "House 9"})
    assert made["text_name"] == "House 9"


async def test_a_room_is_there_once(api: Api) -> None:
    assert "House 7" in (await api.post("/api/rooms", {**ROOM, "name": "House 7"}, expect=409))["detail"]
    await api.post("/api/rooms", {**ROOM, "room_id": "house-7"}, expect=409)
    assert len(await api.get("/api/rooms")) == len(farmyard.ROOMS)


@pytest.mark.parametrize(
    "change",
    [{"room_id": "House 9"}, {"room_id": "h\n"}, {"kind": "attic"}, {"name": " "}, {"who": ""}, {"who": "\t"}],
)
async def test_a_room_that_cannot_be_meant_is_refused(one_api: Api, change: dict[str, str]) -> None:
    await one_api.post("/api/rooms", {**ROOM, **change}, expect=422)


async def test_a_cooler_has_no_first_days(one_api: Api) -> None:
    said = await one_api.post(
        "/api/rooms", {"room_id": "c2", "name": "Cooler 2", "kind": "packing cooler", "who": "Ines"}
    )
    assert said["first_days_end"] == NOW


async def test_the_first_days_end_when_somebody_says_so(one_api: Api) -> None:
    await one_api.post("/api/rooms", ROOM)
    said = await one_api.post("/api/rooms/house-9/first-days", {"end": None, "who": "Ines"}, expect=200)
    assert said["first_days_end"] == NOW
    said = await one_api.post(
        "/api/rooms/house-9/first-days", {"end": "2026-12-01T06:00:00+01:00", "who": "Ines"}, expect=200
    )
    assert said["first_days_end"] == "2026-12-01T05:00:00.000Z"
    await one_api.post("/api/rooms/nowhere/first-days", {"end": None, "who": "Ines"}, expect=404)


async def test_a_room_now_shows_values_crops_limits_and_until_when_it_is_judged(api: Api) -> None:
    await farmyard.dry_night(api.desk.database, api.desk.farm)
    now = await api.get("/api/rooms/house-7")
    values = {(p["place"], v["quantity"]): (v["value"], v["unit"]) for p in now["probes"] for v in p["newest"]}
    assert values == {
        ("door end", "humidity"): (97.0, "%RH"),
        ("door end", "temperature"): (15.5, "Cel"),
        ("door end", "co2"): (870.0, "ppm"),
        ("back", "humidity"): (98.0, "%RH"),
    }
    assert [(c["batch_id"], c["stage"], c["stage_day"], c["wakes"]) for c in now["crops"]] == [
        ("SH-41", "pinning", 3, True)
    ]
    assert {limit["set_by_batch"] for limit in now["limits"]} == {"SH-41"}
    assert ("humidity", "low") in {(limit["quantity"], limit["side"]) for limit in now["limits"]}
    assert now["open_alarms"] == []
    assert now["judged_until"] == show_moment(farmyard.NOW_MS - 15_000)
    await api.refused("/api/rooms/house-99", expect=404)


async def test_a_room_with_an_open_alarm_shows_it(one_api: Api) -> None:
    await go_dry(one_api, 40)
    (alarm,) = (await one_api.get("/api/rooms/house-7"))["open_alarms"]
    assert (alarm["quantity"], alarm["side"], alarm["state"]) == ("humidity", "low", "open")


async def test_values_from_before_a_probe_came_are_not_the_rooms(one_api: Api) -> None:
    point = [(farmyard.NOW_MS - HOUR_MS, 15.0)]
    await farmyard.send(one_api.desk.database, one_api.desk.farm_id, "h3-middle", Quantity.TEMPERATURE, point)
    moved = {"room_id": "house-7", "place": "shelf", "who": "Ines"}
    await one_api.post("/api/probes/h3-middle/placements", moved)
    probes = {p["probe_id"]: p for p in (await one_api.get("/api/rooms/house-7"))["probes"]}
    assert probes["h3-middle"]["newest"] == []
    assert (await one_api.get("/api/rooms/house-3"))["probes"] == []


# --- assigning --------------------------------------------------------------------------------------------------

ASSIGN: dict[str, Any] = {"profile": "shiitake", "stage": "fruiting", "who": "Ines"}
BY: dict[str, Any] = {"profile": "shiitake", "version": 1}


async def test_assigning_makes_a_batch_beside_those_that_are_there(one_api: Api) -> None:
    made = await one_api.post("/api/rooms/house-3/assign", ASSIGN)
    assert made["batch_id"] == "shiitake-2026-11-25"
    assert made["stays"] == [
        {**BY, "room_id": "house-3", "stage": "fruiting", "since": NOW, "recorded": NOW, "who": "Ines"}
    ]
    again = await one_api.post("/api/rooms/house-3/assign", ASSIGN)
    assert again["batch_id"] == "shiitake-2026-11-25-2"
    crops = (await one_api.get("/api/rooms/house-3"))["crops"]
    assert {crop["batch_id"] for crop in crops} == {"OY-18", made["batch_id"], again["batch_id"]}


async def test_assigning_a_batch_that_is_there_moves_it(api: Api) -> None:
    moved = await api.post("/api/rooms/house-3/assign", {**ASSIGN, "batch_id": "SH-41"})
    assert [(s["room_id"], s["stage"]) for s in moved["stays"]] == [
        ("house-7", "pinning"),
        ("house-3", "fruiting"),
    ]
    assert (await api.get("/api/rooms/house-7"))["crops"] == []


async def test_assigning_before_the_last_move_of_a_batch_is_refused_and_nothing_moves(one_api: Api) -> None:
    before = await one_api.get("/api/batches/SH-41")
    early = show_moment(farmyard.NOW_MS - 37 * HOUR_MS)
    said = await one_api.post(
        "/api/rooms/house-3/assign", {**ASSIGN, "batch_id": "SH-41", "from": early}, expect=409
    )
    assert "later than that already" in said["detail"]
    assert await one_api.get("/api/batches/SH-41") == before


async def test_a_batch_does_not_change_its_species(one_api: Api) -> None:
    said = await one_api.post(
        "/api/rooms/house-3/assign", {**ASSIGN, "batch_id": "OY-18", "strain": "other"}, expect=409
    )
    assert "another profile and strain" in said["detail"]


@pytest.mark.parametrize(
    ("room", "change", "status"),
    [
        ("nowhere", {}, 404),
        ("house-3", {"profile": "truffle"}, 404),
        ("house-3", {"stage": "dreaming"}, 404),
        ("house-3", {"from": "2026-11-26T07:10:00-05:00"}, 422),
        ("house-3", {"from": "2026-11-25T07:10:00"}, 422),
        ("house-3", {"from": 1_795_586_400}, 422),
        ("house-3", {"from": "yesterday"}, 422),
        ("house-3", {"count": 0}, 422),
        ("house-3", {"batch_id": "a b"}, 422),
        ("house-3", {"container": "jars\x00"}, 422),
    ],
)
async def test_an_assignment_that_cannot_be_is_refused(
    one_api: Api, room: str, change: dict[str, Any], status: int
) -> None:
    await one_api.post(f"/api/rooms/{room}/assign", {**ASSIGN, **change}, expect=status)
    assert len((await one_api.get("/api/rooms/house-3"))["crops"]) == 1
