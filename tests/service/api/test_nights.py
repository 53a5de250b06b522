"""A room's air and its night in figures, over HTTP. Saturation pressure by PsychroLib 2.5; the rest by hand."""

from __future__ import annotations

from typing import Any, cast

import psychrolib
import pytest

from rules.model import HOUR_MS, MINUTE_MS, Instant, Quantity
from tests.support import farmyard
from tests.support.api import Api

psychrolib.SetUnitSystem(psychrolib.SI)


def saturation_kpa(temperature_c: float) -> float:
    return cast("float", psychrolib.GetSatVapPres(temperature_c)) / 1000


async def hear(api: Api, probe: str, quantity: Quantity, value: float, *, before_ms: Instant = 0) -> None:
    """One value each 5 minutes for an hour, up to ``before_ms`` ago."""
    end_ms = farmyard.NOW_MS - before_ms
    points = farmyard.every(5 * MINUTE_MS, end_ms - HOUR_MS, end_ms, lambda _at: value)
    await farmyard.send(api.desk.database, api.desk.farm_id, probe, quantity, points)


async def air(api: Api, room: str = "house-7") -> Any:
    return (await api.get(f"/api/rooms/{room}"))["air"]


async def test_drying_power_stands_with_the_band_that_its_probe_leaves(api: Api) -> None:
    """16 degC and 95 %RH: 5 % of saturation, 3 to 7 with 2 points, a little more with half a kelvin."""
    await hear(api, "h7-door", Quantity.TEMPERATURE, 16.0)
    await hear(api, "h7-door", Quantity.HUMIDITY, 95.0)

    found = await air(api)

    power = found["drying_power"]
    assert power["value"] == pytest.approx(0.05 * saturation_kpa(16.0), abs=1e-4)
    assert power["low"] == pytest.approx(0.03 * saturation_kpa(16.0), abs=5e-4)
    assert power["high"] == pytest.approx(0.07 * saturation_kpa(16.0), abs=5e-4)
    assert power["decimals"] == 2
    assert found["dew_point"]["value"] == pytest.approx(15.2, abs=0.01)
    assert found["wet_bulb"] == pytest.approx(15.5, abs=0.1)
    assert (found["place"], found["temperature_is_borrowed"]) == ("door end", False)


async def test_the_driest_place_counts_and_borrows_a_temperature_if_it_has_none(one_api: Api) -> None:
    await hear(one_api, "h7-door", Quantity.TEMPERATURE, 16.0)
    await hear(one_api, "h7-door", Quantity.HUMIDITY, 95.0)
    await hear(one_api, "h7-back", Quantity.HUMIDITY, 80.0)

    found = await air(one_api)

    assert (found["place"], found["temperature"], found["temperature_is_borrowed"]) == ("back", 16.0, True)
    assert found["drying_power"]["value"] == pytest.approx(0.2 * saturation_kpa(16.0), abs=1e-4)


async def test_without_both_there_is_no_air_to_speak_of(one_api: Api) -> None:
    assert await air(one_api) is None
    await hear(one_api, "h7-back", Quantity.HUMIDITY, 95.0)
    assert await air(one_api) is None
    await hear(one_api, "h7-door", Quantity.TEMPERATURE, 16.0, before_ms=30 * MINUTE_MS)
    assert await air(one_api) is None, "a temperature that has not been heard for half an hour says nothing"


async def test_steam_and_bone_dry_air_have_no_wet_bulb_and_break_nothing(one_api: Api) -> None:
    await hear(one_api, "h7-door", Quantity.TEMPERATURE, 105.0)
    await hear(one_api, "h7-door", Quantity.HUMIDITY, 104.0)
    steam = await air(one_api)
    assert (steam["humidity"], steam["wet_bulb"]) == (100.0, None)
    await hear(one_api, "h3-middle", Quantity.TEMPERATURE, 15.0)
    await hear(one_api, "h3-middle", Quantity.HUMIDITY, 1.5)
    dry = await air(one_api, "house-3")
    assert dry["dew_point"] is None


async def test_a_night_is_told_in_figures_each_with_its_known_share(api: Api) -> None:
    """House 3: steady 15 degC and 90 %RH each 5 min from the evening round to now, wholly known."""
    await farmyard.send_night(api.desk.database, api.desk.farm_id)

    night = await api.get("/api/rooms/house-3/night")

    hours = (farmyard.NOW_MS - farmyard.NIGHT_FROM_MS) / HOUR_MS
    humidity = next(q for q in night["quantities"] if q["quantity"] == "humidity")
    (probe,) = humidity["probes"]
    assert (humidity["lowest"], humidity["highest"], humidity["known_share"]) == (90, 90, 1)
    assert (probe["place"], probe["mean"]) == ("middle", 90)
    assert probe["known_share"] == pytest.approx(1, abs=0.01), "no line leads on from the last reading"
    dose = night["drying_dose"]
    assert dose["kpa_h"] == pytest.approx(hours * 0.1 * saturation_kpa(15.0), rel=1e-3)
    assert dose["low"] == pytest.approx(hours * 0.08 * saturation_kpa(15.0), rel=1e-3)
    assert dose["high"] == pytest.approx(hours * 0.12 * saturation_kpa(15.0), rel=1e-3)
    assert dose["mean_kpa"] == pytest.approx(0.1 * saturation_kpa(15.0), rel=1e-3)
    assert dose["known_share"] == 1
    assert night["near_saturation"] == {"from_percent": 98, "hours": 0, "longest_hours": 0, "known_share": 1}


async def test_the_wettest_place_says_how_long_a_room_was_close_to_saturation(one_api: Api) -> None:
    """House 7's back end is at 98 all night; its door end falls to 78 from 02:19, below 95 for the band."""
    await farmyard.send_night(one_api.desk.database, one_api.desk.farm_id)

    night = await one_api.get("/api/rooms/house-7/night", evening=farmyard.YESTERDAY)

    near = night["near_saturation"]
    assert near["hours"] == near["longest_hours"] == 12, "from round to round, as the night is named"
    humidity = next(q for q in night["quantities"] if q["quantity"] == "humidity")
    door = next(p for p in humidity["probes"] if p["place"] == "door end")
    assert humidity["lowest"] == 78
    assert humidity["minutes_outside"] > 40
    assert 94 < door["mean"] < 97
    assert (await one_api.get("/api/rooms/house-7/night", near=99))["near_saturation"]["hours"] == 0


async def test_a_room_without_probes_has_a_night_without_figures(one_api: Api) -> None:
    room = {"room_id": "house-9", "name": "House 9", "kind": "fruiting", "who": "Ines"}
    await one_api.post("/api/rooms", room)

    night = await one_api.get("/api/rooms/house-9/night")

    assert (night["quantities"], night["drying_dose"], night["near_saturation"]) == ([], None, None)


async def test_a_night_that_is_not_there_is_refused(one_api: Api) -> None:
    await one_api.refused("/api/rooms/house-0/night", expect=404)
    await one_api.refused("/api/rooms/house-7/night", evening="2027-01-01", expect=404)
    await one_api.refused("/api/rooms/house-7/night", evening="someday", expect=422)
    await one_api.refused("/api/rooms/house-7/night", near=20, expect=422)
