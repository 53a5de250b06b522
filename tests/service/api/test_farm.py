"""The farm can be looked at and changed, and every part sees the change at once."""

from __future__ import annotations

from typing import Any

import pytest

from service.storage import rooms
from tests.support.api import Api

CHANGE: dict[str, Any] = {
    "name": "Tansy Hollow",
    "place": "a hollow",
    "zone": "Europe/Amsterdam",
    "altitude_m": -3,
    "units": "metric",
    "language": "en",
    "room_word": "cell",
    "invented": True,
    "morning_round": "05:30",
    "evening_round": "19:00",
    "who": "Ines",
}


async def test_what_is_put_is_kept_and_is_what_the_desk_works_with(api: Api) -> None:
    said = await api.put("/api/farm", CHANGE)
    assert said == {**CHANGE, "slug": "tansy", "remarks": []}
    assert await api.get("/api/farm") == said
    assert api.desk.farm["zone"] == "Europe/Amsterdam"
    assert api.desk.farm["morning_round_minute"] == 330
    async with api.desk.database.read() as connection:
        assert await rooms.farm_by_slug(connection, "tansy") == api.desk.farm


@pytest.mark.parametrize(
    ("zone", "round_", "said"),
    [
        ("America/New_York", "02:30", 1),
        ("America/New_York", "01:30", 1),
        ("America/New_York", "03:00", 0),
        ("Europe/Berlin", "02:00", 1),
        ("Europe/Lisbon", "02:30", 0),
        ("Europe/Lisbon", "01:30", 1),
        ("Asia/Tokyo", "02:30", 0),
    ],
)
async def test_a_round_in_an_hour_that_clocks_leave_out_or_repeat_is_remarked_on(
    one_api: Api, zone: str, round_: str, said: int
) -> None:
    """Clock changes as the tz database has them: 2:00 in New York and Berlin, 1:00 in Lisbon, none in Tokyo."""
    farm = await one_api.put("/api/farm", {**CHANGE, "zone": zone, "morning_round": round_})

    assert len(farm["remarks"]) == said
    assert all(f"the morning round is at {round_}" in remark for remark in farm["remarks"])


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"zone": "Mushroom/Land"}, "body.zone"),
        ({"zone": "../../etc/passwd"}, "body.zone"),
        ({"altitude_m": "310"}, "body.altitude_m"),
        ({"altitude_m": True}, "body.altitude_m"),
        ({"altitude_m": 10**400}, "body.altitude_m"),
        ({"units": "furlongs"}, "body.units"),
        ({"language": "xx"}, "body.language"),
        ({"invented": 1}, "body.invented"),
        ({"morning_round": "6:00"}, "body.morning_round"),
        ({"evening_round": "24:00"}, "body.evening_round"),
        ({"morning_round": "20:00"}, "body"),
        ({"name": ""}, "body.name"),
        ({"name": "two\nlines"}, "body.name"),
        ({"name": "turned \u202e about"}, "body.name"),
        ({"who": "   "}, "body.who"),
        ({"who": "a\x00b"}, "body.who"),
        ({"who": "x" * 81}, "body.who"),
        ({"who": None}, "body.who"),
        ({"colour": "red"}, "body.colour"),
    ],
)
async def test_what_cannot_be_meant_is_refused_with_the_place(one_api: Api, change: Any, where: str) -> None:
    before = dict(one_api.desk.farm)
    said = await one_api.put("/api/farm", {**CHANGE, **change}, expect=422)
    assert where in {wrong["where"] for wrong in said["errors"]}
    assert one_api.desk.farm == before


@pytest.mark.parametrize("name", sorted(CHANGE))
async def test_nothing_may_be_left_out(one_api: Api, name: str) -> None:
    body = {key: value for key, value in CHANGE.items() if key != name}
    said = await one_api.put("/api/farm", body, expect=422)
    assert said["errors"] == [{"where": f"body.{name}", "problem": "Field required"}]


async def test_names_are_kept_in_one_spelling(one_api: Api) -> None:
    said = await one_api.put("/api/farm", {**CHANGE, "who": "  Jose\N{COMBINING ACUTE ACCENT} "})
    assert said["who"] == "Jos\N{LATIN SMALL LETTER E WITH ACUTE}"


async def test_a_friday_page_in_such_an_hour_is_remarked_on_too(one_api: Api) -> None:
    figure = await one_api.put("/api/figures/friday_minute", {"value": 150.0, "who": "Ines"})
    noon = await one_api.put("/api/figures/friday_minute", {"value": 720.0, "who": "Ines"})

    assert figure["remarks"][0].startswith("friday_minute is at 02:30")
    assert noon["remarks"] == []
