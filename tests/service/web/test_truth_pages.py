"""The sheet asks what it was: one tap each, kept under a name, never by looking; and the Friday page."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any
from urllib.parse import quote

import httpx
import pytest

from rules.model import HOUR_MS
from service.localtime import at_local
from service.storage.database import Database
from tests.support import farmyard, told_week
from tests.support.clock import HandClock
from tests.support.page_server import application
from tests.support.page_words import words
from tests.support.written import written


@asynccontextmanager
async def pages(
    database: Database, farm: dict[str, Any], *, at_ms: int = farmyard.NOW_MS
) -> AsyncIterator[httpx.AsyncClient]:
    desk = farmyard.desk(database, farm, HandClock(at_ms))
    transport = httpx.ASGITransport(app=application(desk))
    async with httpx.AsyncClient(transport=transport, base_url="http://farm.local") as client:
        yield client


async def address_of(client: httpx.AsyncClient) -> str:
    found = re.search(r'action="(/happenings/[^"]+/truth)"', (await client.get("/")).text)
    assert found
    return found[1]


async def test_what_it_was_is_said_with_one_tap_each(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, farm) as client:
        address = await address_of(client)
        form = {"person_id": "maria", "what": "gear", "night": "2026-11-24", "mark": "was-1"}
        first = await client.post(address, data=form)
        assert (first.status_code, first.headers["location"]) == (303, "/?night=2026-11-24#was-1")
        asked = await client.get("/")
        assert "It was: gear. Said by Maria, 07:10." in words(asked)
        assert "Harm seen on the crop?" in words(asked)
        assert 'name="what"' not in asked.text

        await client.post(address, data={"person_id": "maria", "harm": "some"})
        said = await client.get("/")

    assert "It was: gear. Some harm. Said by Maria, 07:10." in words(said)
    assert "Say it anew" in words(said)
    assert [(row["what"], row["harm"]) for row in await written(dry_night, "truths")] == [
        ("gear", ""),
        ("gear", "some"),
    ]


async def test_looking_never_records(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, farm) as client:
        address = await address_of(client)
        answer = await client.get(address, params={"person_id": "maria", "what": "gear"})

    assert answer.status_code == 404
    assert await written(dry_night, "truths") == []


async def test_whoever_is_not_known_yet_says_so_first(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, farm) as client:
        unknown = await client.get("/")
        client.cookies.set("houseband_person", "maria")
        known = await client.get("/")

    assert 'type="radio" name="person_id"' in unknown.text
    assert 'type="radio" name="person_id"' not in known.text
    assert "Kept as said by Maria." in words(known)


@pytest.mark.parametrize(
    ("form", "status"),
    [
        ({"what": "gear"}, 422),
        ({"person_id": "maria"}, 422),
        ({"person_id": "maria", "what": "ghosts"}, 422),
        ({"person_id": "nobody", "what": "gear"}, 404),
    ],
)
async def test_a_form_that_says_nothing_changes_nothing(
    dry_night: Database, farm: dict[str, Any], form: dict[str, str], status: int
) -> None:
    async with pages(dry_night, farm) as client:
        answer = await client.post(await address_of(client), data=form)

    assert (answer.status_code, await written(dry_night, "truths")) == (status, [])


async def test_a_form_leads_nowhere_else(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, farm) as client:
        form = {"person_id": "maria", "what": "door", "night": "//example.org", "mark": '"><b'}
        answer = await client.post(await address_of(client), data=form)

    assert answer.headers["location"] == "/"


async def test_another_sites_page_says_nothing_here(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, farm) as client:
        address, form = await address_of(client), {"person_id": "maria", "what": "gear"}
        answer = await client.post(address, data=form, headers={"Origin": "https://example.org"})

    assert (answer.status_code, await written(dry_night, "truths")) == (403, [])


async def test_a_happening_that_never_was(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, farm) as client:
        form = {"person_id": "maria", "what": "gear"}
        answer = await client.post(f"/happenings/{quote('house-7@1')}/truth", data=form)

    assert answer.status_code == 404


async def test_what_goes_on_tonight_is_asked_in_the_morning(database: Database, farm: dict[str, Any]) -> None:
    at_ms = farmyard.DRY_FROM_MS + HOUR_MS // 2
    await farmyard.dry_night(database, farm, to_ms=at_ms)
    async with pages(database, farm, at_ms=at_ms) as client:
        tonight = await client.get("/")

    assert "/truth" not in tonight.text


async def test_the_friday_page_says_the_week_and_lists_what_is_behind_it(
    database: Database, farm: dict[str, Any]
) -> None:
    await told_week.live(database, farm)
    async with pages(database, farm, at_ms=at_local(told_week.FRIDAY, 13 * 60 + 5, farmyard.ZONE)) as client:
        said = words(await client.get("/friday"))
        before = words(await client.get("/friday", params={"week": "2026-11-20"}))

    assert "Friday page, Fri 27 Nov" in said
    assert "Most for nothing: House 3 humidity, 2 texts, door." in said
    assert "All 6 3 2 1" in said
    assert "This week nobody was texted." in before


@pytest.mark.parametrize(
    ("week", "status"), [("soon", 422), ("2026-11-26", 404), ("2027-01-01", 404), ("0001-01-05", 404)]
)
async def test_a_week_that_is_none(database: Database, farm: dict[str, Any], week: str, status: int) -> None:
    async with pages(database, farm) as client:
        assert (await client.get("/friday", params={"week": week})).status_code == status
