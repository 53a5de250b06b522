"""People and call lists: nobody is on a list who could not be told."""

from __future__ import annotations

import json
from typing import Any

import pytest

from service.api.phone import phone_number
from service.errors import NotUnderstood
from service.storage import people
from tests.support.api import Api
from tests.support.reference import Row, rows_of

PHONES = rows_of("phone_numbers.csv")

PERSON: dict[str, Any] = {
    "name": "Ida Quill", "phone": "+1 202 555 0117", "email": "ida@example.org", "units": "us",
    "language": "en", "active": True, "who": "Ines",
}  # fmt: skip


async def test_a_person_is_kept_with_a_number_in_e164(api: Api) -> None:
    """E.164 is a plus, the country and up to 15 digits in all; 555-01xx is kept for fiction (NANPA)."""
    said = await api.put("/api/people/ida", PERSON)
    assert said["phone"] == "+12025550117"
    assert said["phone_in_use"] is True
    changed = await api.put("/api/people/ida", {**PERSON, "phone": None, "active": False})
    assert (changed["phone"], changed["phone_in_use"], changed["active"]) == (None, None, False)
    assert [p for p in await api.get("/api/people") if p["person_id"] == "ida"] == [changed]


@pytest.mark.parametrize(
    "change",
    [
        {"phone": "555 0117"},
        {"phone": "+1 202 555"},
        {"phone": "+1 202 555 0117 ext. 4"},
        {"phone": "+0 123"},
        {"phone": "\u0000"},
        {"phone": 12025550117},
        {"email": "ida"},
        {"email": "ida@example.org\r\nBcc: all@example.org"},
        {"email": "ida..q@example.org"},
        {"units": "imperial"},
        {"language": "tlh"},
        {"active": "yes"},
        {"name": ""},
        {"who": ""},
        {"sign": "libra"},
    ],
)
async def test_a_person_that_cannot_be_meant_is_refused(one_api: Api, change: dict[str, Any]) -> None:
    await one_api.put("/api/people/ida", {**PERSON, **change}, expect=422)
    assert "ida" not in {p["person_id"] for p in await one_api.get("/api/people")}


async def test_a_number_outside_ranges_in_use_is_kept_and_marked(one_api: Api) -> None:
    said = await one_api.put("/api/people/ida", {**PERSON, "phone": "+44 12345 6789"})
    assert said["phone_in_use"] is False


async def test_a_call_list_is_kept_in_order(api: Api) -> None:
    lines = [{"person_id": "ben", "after_minutes": 0}, {"person_id": "maria", "after_minutes": 7.5}]
    said = await api.put("/api/call-lists/night", {"lines": lines, "who": "Ines"})
    assert [(x["person_id"], x["name"], x["after_minutes"]) for x in said["lines"]] == [
        ("ben", "Ben", 0.0),
        ("maria", "Maria", 7.5),
    ]
    assert await api.get("/api/call-lists/night") == said
    assert (await api.get("/api/call-lists/day"))["lines"][0]["person_id"] == "maria"


@pytest.mark.parametrize(
    ("lines", "status"),
    [
        ([("stranger", 0)], 404),
        ([("old-hand", 0)], 409),
        ([("ben", 0), ("ben", 5)], 422),
        ([("ben", 5), ("maria", 0)], 422),
        ([("ben", -1)], 422),
        ([("ben", 1e9)], 422),
        ([("ben", "0")], 422),
        ([("ben", 10**400)], 422),
    ],
)
async def test_a_call_list_that_cannot_work_is_refused_and_the_old_one_stays(
    one_api: Api, lines: list[tuple[str, Any]], status: int
) -> None:
    before = await one_api.get("/api/call-lists/night")
    asked = [{"person_id": person, "after_minutes": after} for person, after in lines]
    await one_api.put("/api/call-lists/night", {"lines": asked, "who": "Ines"}, expect=status)
    assert await one_api.get("/api/call-lists/night") == before


async def test_somebody_on_a_call_list_does_not_lose_every_way_to_be_told(one_api: Api) -> None:
    mute = {**PERSON, "phone": None, "email": None}
    said = await one_api.put("/api/people/maria", mute, expect=409)
    assert "call list" in said["detail"]
    await one_api.put("/api/people/maria", {**mute, "active": False})
    assert (await one_api.get("/api/call-lists/night"))["lines"][0]["active"] is False


async def test_there_is_no_third_call_list(one_api: Api) -> None:
    await one_api.refused("/api/call-lists/noon", expect=422)


async def test_what_is_said_of_a_person_comes_back(api: Api) -> None:
    more = {
        "manager": True, "way": "voice", "rooms": ["house-7", "house-3"], "hours_from": "18:00",
        "hours_to": "06:30", "morning_text": True, "language": "es",
    }  # fmt: skip
    said = await api.put("/api/people/ida", {**PERSON, **more})
    assert {name: said[name] for name in more} == {**more, "rooms": ["house-3", "house-7"]}
    assert (said["round_trip"], said["rang"], said["opted_out"]) == (None, None, None)
    assert len(said["missing"]) == 2


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"rooms": ["house-99"]}, 404),
        ({"rooms": []}, 422),
        ({"hours_from": "18:00"}, 422),
        ({"hours_from": "18:00", "hours_to": "18:00"}, 422),
        ({"hours_from": "24:00", "hours_to": "18:00"}, 422),
        ({"way": "mail", "email": None}, 422),
        ({"way": "voice", "phone": None}, 422),
        ({"way": "pigeon"}, 422),
        ({"region": "XX"}, 422),
    ],
)
async def test_what_cannot_work_is_not_kept_of_a_person(one_api: Api, change: dict[str, Any], status: int) -> None:
    await one_api.put("/api/people/ida", {**PERSON, **change}, expect=status)


async def test_a_new_number_has_proved_nothing_yet(one_api: Api) -> None:
    await one_api.put("/api/people/ida", PERSON)
    proved = {"person_id": "ida", "round_trip_ms": 5, "rang_ms": 6, "opted_out_ms": 7}
    async with one_api.desk.database.write() as connection:
        known = await people.person(connection, one_api.desk.farm_id, "ida")
        await people.save_person(connection, one_api.desk.farm_id, {**known, **proved})
    same = await one_api.put("/api/people/ida", {**PERSON, "name": "Ida Q"})
    assert same["round_trip"] == "1970-01-01T00:00:00.005Z"
    assert same["missing"] == [
        "this number asked for no more texts: only its owner can take that back, at the carrier"
    ]
    other = await one_api.put("/api/people/ida", {**PERSON, "phone": "+12025550118"})
    assert (other["round_trip"], other["rang"], other["opted_out"]) == (None, None, None)


@pytest.mark.parametrize(
    "row", [r for r in PHONES if r["quantity"] == "e164_normalise"], ids=lambda row: row["id"]
)
def test_a_number_as_dialled_at_home_is_kept_with_its_country(row: Row) -> None:
    asked = json.loads(row["inputs"])
    assert phone_number(asked["text"], asked["region"]) == row["expected"], row["source"]


@pytest.mark.parametrize(
    "row", [r for r in PHONES if r["quantity"] == "e164_syntax_valid"], ids=lambda row: row["id"]
)
def test_only_what_is_e164_is_kept_as_it_stands(row: Row) -> None:
    try:
        kept = phone_number(row["inputs"], None)
    except NotUnderstood:
        kept = None
    assert (kept == row["inputs"]) is (row["expected"] == "true"), row["source"]


async def test_a_region_lets_a_number_be_written_as_it_is_dialled(one_api: Api) -> None:
    said = await one_api.put("/api/people/ida", {**PERSON, "phone": "07700 900123", "region": "GB"})
    assert said["phone"] == "+447700900123"


async def test_nobody_is_on_call_without_a_way_to_be_told_but_by_name_with_why(one_api: Api) -> None:
    await one_api.put("/api/people/maria", {**PERSON, "name": "Maria", "rooms": ["house-3"]})
    told = await one_api.get("/api/on-call", room="house-7")
    assert [line["person_id"] for line in told["told"]] == ["ben"]
    assert [(line["name"], line["why"]) for line in told["left_out"]] == [("Maria", "is not for this house")]
    danger = await one_api.get("/api/on-call", room="house-7", danger="true")
    assert [line["person_id"] for line in danger["told"]] == ["maria", "ben"]
    await one_api.refused("/api/on-call", expect=404, room="house-99")
