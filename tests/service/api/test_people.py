"""People and call lists: nobody is on a list who could not be told."""

from __future__ import annotations

from typing import Any

import pytest

from tests.support.api import Api

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
