"""Moves into rooms that do not suit all: refused with the reason, or made as a stated compromise.

The crops are the shipped ones; their bands are read from the catalogue, so that a better source may change them.
"""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from rules.model import HOUR_MS
from service.api.moments import show_moment
from service.storage.compromises import compromises_of
from tests.support import farmyard
from tests.support.api import Api

NOW = show_moment(farmyard.NOW_MS)
PINS: dict[str, Any] = {"profile": "chestnut", "stage": "pinning", "who": "Ines"}
"""Into house 3, where oysters fruit: pins want air wetter than fruiting oysters do."""
ACCEPTED = {"compromise": "accepted"}


async def kept(api: Api, room_id: str = "house-3") -> list[dict[str, Any]]:
    async with api.desk.database.read() as connection:
        return [dict(row) for row in await compromises_of(connection, api.desk.farm_id, room_id)]


async def batches_in(api: Api, room_id: str = "house-3") -> set[str]:
    return {crop["batch_id"] for crop in (await api.get(f"/api/rooms/{room_id}"))["crops"]}


async def shared(api: Api, room_id: str = "house-3", **query: str) -> dict[str, Any]:
    return dict(await api.get(f"/api/rooms/{room_id}/sharing", **query))


async def edges(api: Api, name: str, stage: str, quantity: str = "humidity") -> tuple[float, float]:
    """Of the band of a shipped stage."""
    profile = await api.get(f"/api/profiles/{name}")
    (found,) = [s for s in profile["stages"] if s["stage"] == stage]
    (band,) = [b for b in found["bands"] if b["quantity"] == quantity]
    return band["low"]["value"], band["high"]["value"]


async def test_a_crop_that_has_nothing_in_common_is_refused_with_the_reason(api: Api) -> None:
    (_, fruits_high) = await edges(api, "grey_oyster", "fruiting")
    (pins_low, _) = await edges(api, "chestnut", "pinning")
    assert fruits_high < pins_low, "the case needs two bands that do not meet"
    before = await shared(api)

    said = await api.post("/api/rooms/house-3/assign", PINS, expect=409)

    (humidity,) = said["nothing_in_common"]
    assert humidity["quantity"] == "humidity"
    assert humidity["sentence"] == said["detail"]
    assert "Chestnut (pins) wants" in humidity["sentence"]
    assert humidity["sentence"].endswith("nothing in common")
    assert fruits_high <= humidity["low"] < humidity["high"] <= pins_low
    assert {c["profile"]: c["side"] for c in humidity["crops"]} == {"grey_oyster": "high", "chestnut": "low"}
    assert all(c["shortfall"] > 0 for c in humidity["crops"])
    assert "Chestnut (pins) up to" in humidity["least_bad"]
    assert await batches_in(api) == {"OY-18"}
    assert await shared(api) == before
    assert await kept(api) == []


async def test_a_refused_batch_is_not_made_either(api: Api) -> None:
    await api.post("/api/rooms/house-3/assign", {**PINS, "batch_id": "CH-1"}, expect=409)
    await api.refused("/api/batches/CH-1", expect=404)


async def test_an_accepted_compromise_is_kept_with_the_move(api: Api) -> None:
    made = await api.post("/api/rooms/house-3/assign", {**PINS, **ACCEPTED, "batch_id": "CH-1"})

    assert made["stays"][0]["room_id"] == "house-3"
    assert await batches_in(api) == {"OY-18", "CH-1"}
    (row,) = await kept(api)
    assert row["quantity"] == "humidity"
    assert (row["from_ms"], row["recorded_ms"], row["who"]) == (farmyard.NOW_MS, farmyard.NOW_MS, "Ines")
    assert [(part["kind"][0], part["side"]) for part in row["facts"]["parts"]] == [
        ("chestnut", "low"),
        ("grey_oyster", "high"),
    ]
    now = await shared(api)
    (held,) = now["compromises"]
    assert (held["low"], held["high"], held["who"], held["since"]) == (row["low"], row["high"], "Ines", NOW)
    assert not now["suits_all"]


async def test_more_blocks_of_a_kind_need_no_second_word(api: Api) -> None:
    await api.post("/api/rooms/house-3/assign", {**PINS, **ACCEPTED})
    before = await kept(api)
    await api.post("/api/rooms/house-3/assign", PINS)
    assert len(await batches_in(api)) == 3
    assert await kept(api) == before


async def test_once_the_room_suited_all_again_the_question_is_asked_anew(api: Api) -> None:
    await api.post("/api/rooms/house-3/assign", {**PINS, **ACCEPTED, "batch_id": "CH-1"})
    away = {"room_id": None, "stage": "pinning", "who": "Ben"}
    api.clock.set(farmyard.NOW_MS + HOUR_MS)
    await api.post("/api/batches/CH-1/stays", away)
    assert (await shared(api))["compromises"] == []
    back = {"room_id": "house-3", "stage": "pinning", "who": "Ben"}
    api.clock.set(farmyard.NOW_MS + 2 * HOUR_MS)
    await api.post("/api/batches/CH-1/stays", back, expect=409)
    await api.post("/api/batches/CH-1/stays", {**back, **ACCEPTED})
    assert {held["who"] for held in (await shared(api))["compromises"]} == {"Ben"}


async def test_a_change_of_stage_is_asked_as_well(api: Api) -> None:
    await api.post("/api/rooms/house-3/assign", {**PINS, "stage": "fruiting", "batch_id": "CH-1"})
    turned = {"room_id": "house-3", "stage": "pinning", "who": "Ines", "from": NOW}
    said = await api.post("/api/batches/CH-1/stays", turned, expect=409)
    assert said["nothing_in_common"]
    assert [s["stage"] for s in (await api.get("/api/batches/CH-1"))["stays"]] == ["fruiting"]
    await api.post("/api/batches/CH-1/stays", {**turned, **ACCEPTED})


async def test_a_new_batch_is_asked_too(one_api: Api) -> None:
    batch = {"batch_id": "CH-1", "profile": "chestnut", "strain": "", "count": 40, "container": "bag"}
    asked = {**batch, "room_id": "house-3", "stage": "pinning", "who": "Ines"}
    await one_api.post("/api/batches", asked, expect=409)
    await one_api.post("/api/batches", {**asked, **ACCEPTED})


async def test_leaving_or_standing_in_a_room_alone_asks_nothing(one_api: Api) -> None:
    for room_id in (None, "house-7"):
        await one_api.post("/api/batches/OY-18/stays", {"room_id": None, "stage": "rest", "who": "Ines"})
        moved = {"room_id": room_id, "stage": "incubation", "who": "Ines"}
        await one_api.post("/api/batches/SH-41/stays", moved)


async def test_accepting_where_a_band_suits_all_keeps_nothing(one_api: Api) -> None:
    await one_api.post("/api/rooms/house-3/assign", {**PINS, "stage": "fruiting", **ACCEPTED})
    assert await kept(one_api) == []


async def test_a_move_written_down_late_meets_what_came_since(api: Api) -> None:
    """By hand: empty from three hours ago, oysters came two hours ago, pins had stood there since three."""
    hours = [show_moment(farmyard.NOW_MS - count * HOUR_MS) for count in range(4)]
    away = {"room_id": None, "stage": "fruiting", "who": "Ines", "from": hours[3]}
    await api.post("/api/batches/OY-18/stays", away)
    await api.post("/api/batches/OY-18/stays", {**away, "room_id": "house-3", "from": hours[2]})
    late = {**PINS, "from": hours[3]}
    await api.post("/api/rooms/house-3/assign", late, expect=409)
    await api.post("/api/rooms/house-3/assign", {**late, **ACCEPTED})
    assert {row["from_ms"] for row in await kept(api)} == {farmyard.NOW_MS - 2 * HOUR_MS}


async def test_of_two_moves_at_once_that_clash_one_is_refused(api: Api) -> None:
    await api.post("/api/batches/SH-41/stays", {"room_id": None, "stage": "rest", "who": "Ines"})
    bodies = [PINS, {**PINS, "profile": "grey_oyster", "stage": "fruiting"}]

    answers = await asyncio.gather(*(api.client.post("/api/rooms/house-7/assign", json=b) for b in bodies))

    assert sorted(answer.status_code for answer in answers) == [201, 409]
    assert len(await batches_in(api, "house-7")) == 1


async def test_a_cooler_takes_picked_mushrooms_of_any_species_and_no_growing_crop(one_api: Api) -> None:
    picked = {"profile": "cold_storage", "stage": "storage", "who": "Ines"}
    await one_api.post("/api/rooms/cooler/assign", picked)
    said = await one_api.post("/api/rooms/cooler/assign", {**PINS, "stage": "fruiting"}, expect=409)
    assert "Packing cooler (storage) wants" in said["detail"]


# --- looking first ----------------------------------------------------------------------------------------------


async def test_one_can_look_before_anything_moves(api: Api) -> None:
    alone = await shared(api)
    assert alone["suits_all"]
    (temperature,) = [q for q in alone["quantities"] if q["quantity"] == "temperature"]
    (low, high) = await edges(api, "grey_oyster", "fruiting", "temperature")
    assert (temperature["low"], temperature["high"], temperature["unit"]) == (low, high, "Cel")
    assert temperature["crops"][0]["batch_ids"] == ["OY-18"]
    assert temperature["sentence"].endswith("Gray oyster (fruiting) gives up nothing.")

    both = await shared(api, profile="chestnut", stage="pinning")
    assert not both["suits_all"]
    assert both["compromises"] == []
    assert await batches_in(api) == {"OY-18"}


async def test_a_batch_that_would_change_its_stage_counts_once(one_api: Api) -> None:
    turned = await shared(one_api, profile="grey_oyster", stage="pinning", batch_id="OY-18")
    assert turned["suits_all"]
    (temperature,) = [q for q in turned["quantities"] if q["quantity"] == "temperature"]
    assert [crop["stage"] for crop in temperature["crops"]] == ["pinning"]


async def test_an_empty_room_suits_all(one_api: Api) -> None:
    await one_api.post("/api/batches/OY-18/stays", {"room_id": None, "stage": "rest", "who": "Ines"})
    assert await shared(one_api) == {"suits_all": True, "quantities": [], "compromises": []}


@pytest.mark.parametrize(
    ("room", "query", "status"),
    [
        ("nowhere", {}, 404),
        ("house-7", {"profile": "truffle", "stage": "pinning"}, 404),
        ("house-7", {"profile": "shiitake", "stage": "dreaming"}, 404),
        ("house-7", {"profile": "shiitake"}, 422),
        ("house-7", {"stage": "pinning"}, 422),
        ("house-7", {"profile": "a b", "stage": "pinning"}, 422),
    ],
)
async def test_what_cannot_be_looked_at_is_refused(
    one_api: Api, room: str, query: dict[str, str], status: int
) -> None:
    await one_api.refused(f"/api/rooms/{room}/sharing", expect=status, **query)


@pytest.mark.parametrize("said", ["no", "", True, "Accepted", []])
async def test_a_compromise_is_accepted_in_that_word_alone(one_api: Api, said: object) -> None:
    await one_api.post("/api/rooms/house-3/assign", {**PINS, "compromise": said}, expect=422)
