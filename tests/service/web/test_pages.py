"""The pages over HTTP on a real database: what they say, take and refuse."""

from __future__ import annotations

import gzip
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import httpx
import pytest

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, Quantity
from service.storage.database import Database
from service.web.paper import STATIC
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.page_server import application
from tests.support.page_words import words

HALF_PAST_TWO = farmyard.DRY_FROM_MS + 30 * MINUTE_MS


@asynccontextmanager
async def pages(
    database: Database, farm: dict[str, Any], *, at_ms: int = farmyard.NOW_MS, factor: float = 1.0
) -> AsyncIterator[httpx.AsyncClient]:
    desk = farmyard.desk(database, farm, HandClock(at_ms, factor=factor))
    transport = httpx.ASGITransport(app=application(desk))
    async with httpx.AsyncClient(transport=transport, base_url="http://farm.local") as client:
        yield client


async def test_the_first_page_is_the_round_sheet_worst_room_first(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    async with pages(dry_night, farm) as client:
        answer = await client.get("/")

    assert answer.status_code == 200
    said = words(answer)
    assert "Round sheet, Wed 25 Nov" in said
    assert "House 7 Shiitake, pins day 3 Well again. Humidity under 85% for 38 min from 02:13" in said
    assert said.index("House 7") < said.index("Quiet") < said.index("House 3") < said.index("Cooler")


async def test_the_first_page_is_small(dry_night: Database, farm: dict[str, Any]) -> None:
    """100 KB compressed is what the job allows for everything that the first page loads."""
    async with pages(dry_night, farm) as client:
        answer = await client.get("/")
    loaded = re.findall(r'(?:href|src)="/static/([^"?]+)', answer.text)

    size = len(gzip.compress(answer.content))
    size += sum(len(gzip.compress((STATIC / name).read_bytes())) for name in loaded)
    assert loaded
    assert size < 100_000


async def test_a_room_that_is_wrong_now_says_so_beside_its_strips(
    database: Database, farm: dict[str, Any]
) -> None:
    await farmyard.dry_night(database, farm, to_ms=HALF_PAST_TWO)
    async with pages(database, farm, at_ms=HALF_PAST_TWO) as client:
        sheet = await client.get("/")

    assert '<b class="wrong">Still low.</b>' in sheet.text
    assert "Tonight, Tue 24 Nov" in words(sheet)
    assert 'aria-label="Humidity 78%, low; band 95 to 100%; tonight 78 to 95+%"' in sheet.text


async def test_every_page_says_that_data_are_invented_and_that_the_clock_runs_fast(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    async with pages(dry_night, farm, factor=20.0) as client:
        for path in ("/", "/rooms/house-7", "/nowhere"):
            said = words(await client.get(path))
            assert said.startswith("Invented data. Clock runs 20 times as fast."), path


async def test_a_real_farm_on_a_real_clock_has_no_banner(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, {**farm, "invented": 0}) as client:
        assert "banner" not in (await client.get("/")).text


async def test_the_word_for_a_room_is_the_farms(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, {**farm, "room_word": "chamber"}) as client:
        said = words(await client.get("/rooms/house-3"))

    assert "All chambers" in said
    assert "about this chamber" in said


async def test_a_room_page_explains_its_night_and_draws_it_twice(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    async with pages(dry_night, farm) as client:
        answer = await client.get("/rooms/house-7")

    said = words(answer)
    assert "02:03 to 02:59: humidity low for 56 min. Lowest 78% at 02:19 at door end" in said
    assert "Under the text limit of 85% for 38 min, from 02:13." in said
    assert answer.text.count('class="night-chart"') == 2
    assert "Humidity: bold line door end, thin line back." in said


async def test_a_night_is_found_by_its_evening_and_leads_to_its_neighbours(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    async with pages(dry_night, farm) as client:
        answer = await client.get("/rooms/house-7", params={"night": "2026-11-23"})

    said = words(answer)
    assert "That night Night of Mon 23 Nov to Tue 24 Nov, 18:00 to 06:00" in said
    assert "No readings." in said
    assert "?night=2026-11-22" in answer.text
    assert "?night=2026-11-24" in answer.text


async def test_after_the_evening_round_last_night_is_one_tap_away(
    dry_night: Database, farm: dict[str, Any]
) -> None:
    async with pages(dry_night, farm, at_ms=farmyard.NIGHT_FROM_MS + DAY_MS + HOUR_MS) as client:
        answer = await client.get("/rooms/house-7")

    assert "Tonight so far, Wed 25 Nov, 18:00 to 19:00" in words(answer)
    assert re.search(r'\?night=2026-11-24">Last night<', answer.text)


async def test_answering_stops_the_telling_and_comes_back_to_the_room(
    database: Database, farm: dict[str, Any]
) -> None:
    await farmyard.dry_night(database, farm, to_ms=HALF_PAST_TWO)
    async with pages(database, farm, at_ms=HALF_PAST_TWO) as client:
        answer = await client.post("/rooms/house-7/answers", data={"person_id": "maria", "word": "going"})
        assert (answer.status_code, answer.headers["location"]) == (303, "/rooms/house-7")
        page = await client.get(answer.headers["location"])

    assert "Maria is going, said at 02:30." in words(page)
    assert re.search(r'value="maria" required checked', page.text)


@pytest.mark.parametrize(
    ("path", "form", "refused"),
    [
        ("/rooms/house-3/answers", {"person_id": "maria", "word": "going"}, (409, "Nothing is open in this room")),
        ("/rooms/house-0/answers", {"person_id": "maria", "word": "going"}, (404, "There is no room 'house-0'")),
        ("/rooms/house-7/answers", {"person_id": "nobody", "word": "going"}, (404, "There is nobody with the id")),
        ("/rooms/house-7/answers", {"word": "going"}, (422, "Nobody was chosen")),
        ("/rooms/house-7/answers", {"person_id": "maria", "word": "maybe"}, (422, "either going or cannot")),
        ("/rooms/house-7/answers", {}, (422, "Nobody was chosen")),
    ],
)
async def test_an_answer_that_cannot_be_taken_is_refused_in_words(
    dry_night: Database, farm: dict[str, Any], path: str, form: dict[str, str], refused: tuple[int, str]
) -> None:
    async with pages(dry_night, farm) as client:
        answer = await client.post(path, data=form)

    status, said = refused
    assert (answer.status_code, said in words(answer)) == (status, True)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/rooms/house-0", 404),
        ("/nowhere", 404),
        ("/rooms/house-7?night=2026-12-24", 404),
        ("/rooms/house-7?night=0001-01-01", 404),
        ("/rooms/house-7?night=yesterday", 422),
        ("/?night=2026-13-45", 422),
        ("/rooms/%3Cscript%3E", 404),
    ],
)
async def test_what_is_not_there_is_said_in_words(
    dry_night: Database, farm: dict[str, Any], path: str, status: int
) -> None:
    async with pages(dry_night, farm) as client:
        answer = await client.get(path)

    assert answer.status_code == status
    assert "To the round sheet" in words(answer)
    assert "<script>" not in answer.text


async def test_a_database_that_is_away_is_said_to_be_so_and_comes_back(
    database: Database, farm: dict[str, Any]
) -> None:
    away = Database("postgresql+asyncpg://nobody@127.0.0.1:1/nothing")
    async with pages(away, farm) as client:
        answer = await client.get("/")
    await away.close()

    assert (answer.status_code, answer.headers["retry-after"]) == (503, "60")
    assert "Readings wait and are not lost." in words(answer)


async def test_another_sites_form_changes_nothing(database: Database, farm: dict[str, Any]) -> None:
    await farmyard.dry_night(database, farm, to_ms=HALF_PAST_TWO)
    async with pages(database, farm, at_ms=HALF_PAST_TWO) as client:
        answer = await client.post(
            "/rooms/house-7/answers",
            data={"person_id": "maria", "word": "going"},
            headers={"Sec-Fetch-Site": "cross-site"},
        )
        page = await client.get("/rooms/house-7")

    assert answer.status_code == 403
    assert "Maria is going" not in words(page)


async def test_high_co2_brings_its_cautions_beside_the_task(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, farm) as client:
        assert "meter at the door" not in words(await client.get("/rooms/house-3"))

    stale = farmyard.every(MINUTE_MS, farmyard.NOW_MS, farmyard.NOW_MS + HOUR_MS, lambda _at: 6_000.0)
    await farmyard.send(dry_night, farm["farm_id"], "h3-middle", Quantity.CO2, stale)
    async with pages(dry_night, farm, at_ms=farmyard.NOW_MS + HOUR_MS) as client:
        said = words(await client.get("/rooms/house-3"))

    assert "Before you go in." in said
    assert "Air the house out from outside, then measure with a meter at the door" in said


async def test_a_new_farm_has_a_first_page_too(database: Database) -> None:
    farm = await farmyard.add_farm(database)
    async with pages(database, farm) as client:
        answer = await client.get("/")

    assert "No house is set up yet." in words(answer)


async def test_names_cannot_become_markup(database: Database) -> None:
    farm = await farmyard.settle(database, name="<i>Hill</i> & Sons")
    async with pages(database, farm) as client:
        body = (await client.get("/")).text

    assert "&lt;i&gt;Hill&lt;/i&gt; &amp; Sons" in body
    assert "<i>Hill" not in body


async def test_pages_load_nothing_from_elsewhere(dry_night: Database, farm: dict[str, Any]) -> None:
    async with pages(dry_night, farm) as client:
        for path in ("/", "/rooms/house-7"):
            answer = await client.get(path)
            assert "default-src 'self'" in answer.headers["content-security-policy"]
            assert not re.search(r'(?:src|href|action)="(?:https?:)?//', answer.text)


async def test_no_page_says_words_that_belong_to_software(dry_night: Database, farm: dict[str, Any]) -> None:
    """The farm's words only: these are what people on farms do not say, or what must not be promised."""
    avoided = (
        "dashboard|device|sensor|widget|gauge|zone|tenant|recipe|rule|trigger|incident|ticket|severity|acknowledge"
        "|escalat|threshold|setpoint|anomal|insight|telemetry|payload|heartbeat|uptime|warning|critical|safe"
        "|compliant|certified|KPI|analytics|alarm"
    )
    async with pages(dry_night, farm) as client:
        for path in ("/", "/rooms/house-7", "/rooms/cooler", "/nowhere"):
            assert re.findall(rf"\b(?:{avoided})\w*", words(await client.get(path)), flags=re.IGNORECASE) == []
