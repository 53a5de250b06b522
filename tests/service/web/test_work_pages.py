"""Saying at a page who works in a room and what is left until when, and seeing it there."""

from __future__ import annotations

import re
from typing import Any

import httpx
import pytest

from rules.model import HOUR_MS, MINUTE_MS, Instant, Quantity, Side
from service.storage.database import Database
from service.watch.holds import Holding, Left
from tests.support import farmyard
from tests.support.browser import complaints, open_browser
from tests.support.clock import HandClock
from tests.support.page_server import application, serving
from tests.support.page_words import words

WORK = "/rooms/house-7/work"
LEAVE = {"act": "leave", "person_id": "ben", "limit": "humidity/low", "hours": "4", "why": "nozzle on order"}


def _client(database: Database, farm: dict[str, Any], at_ms: Instant = farmyard.NOW_MS) -> httpx.AsyncClient:
    transport = httpx.ASGITransport(app=application(farmyard.desk(database, farm, HandClock(at_ms))))
    return httpx.AsyncClient(transport=transport, base_url="http://farm.local")


async def _page(database: Database, farm: dict[str, Any], room_id: str, at_ms: Instant) -> str:
    async with _client(database, farm, at_ms) as client:
        return words(await client.get(f"/rooms/{room_id}"))


async def test_a_room_s_page_says_who_works_there_and_what_is_left(
    database: Database, farm: dict[str, Any]
) -> None:
    out_ms = farmyard.NOW_MS + 170 * MINUTE_MS
    left = Left(
        quantity=Quantity.HUMIDITY, side=Side.LOW, until_ms=out_ms + HOUR_MS, why="nozzle on order", who="Ben"
    )
    async with database.write() as connection:
        holding = Holding(connection=connection, farm_id=farm["farm_id"], now_ms=farmyard.NOW_MS)
        await holding.working("house-7", "maria", out_ms)
        await holding.leave("house-7", left)

    said = await _page(database, farm, "house-7", farmyard.NOW_MS)
    assert "Working until 10:00 (Maria)" in said
    assert "Humidity low: leave until 11:00 (Ben): nozzle on order" in said
    assert "leave until" not in await _page(database, farm, "house-3", farmyard.NOW_MS)
    later = await _page(database, farm, "house-7", out_ms)
    assert "Working until" not in later
    assert "leave until 11:00" in later


async def test_somebody_says_that_they_work_there_and_that_they_are_out(
    database: Database, farm: dict[str, Any]
) -> None:
    async with _client(database, farm) as at:
        empty = await at.get(WORK)
        assert "Nobody is written down as working here" in words(empty)
        assert '<option value="2">09:10, 2 h from now</option>' in empty.text
        done = await at.post(WORK, data={"act": "working", "person_id": "maria", "hours": "2"})
        assert (done.status_code, done.headers["location"]) == (303, WORK)
        said = await at.get(WORK)
        assert "Now Working until 09:10 (Maria)" in words(said)
        assert 'value="maria" required checked' in said.text
        assert "Working until" not in words(await at.get("/rooms/house-3"))
        assert (await at.post(WORK, data={"act": "out", "person_id": "maria"})).status_code == 303
        assert "Working until" not in words(await at.get(WORK)).partition("Working here")[0]
        again = await at.post(WORK, data={"act": "out", "person_id": "maria"})
        assert (again.status_code, "not written down as going or working" in words(again)) == (409, True)


async def test_whoever_works_in_every_house_is_shown_in_each(database: Database, farm: dict[str, Any]) -> None:
    async with _client(database, farm) as at:
        await at.post(WORK, data={"act": "everywhere", "person_id": "maria", "hours": "12"})
        assert "Working until 19:10 (Maria)" in words(await at.get("/rooms/house-3"))


async def test_a_limit_is_left_and_anybody_ends_it(database: Database, farm: dict[str, Any]) -> None:
    async with _client(database, farm) as at:
        offered = await at.get(WORK)
        assert '<option value="humidity/low">humidity under 85%</option>' in offered.text
        assert (await at.post(WORK, data=LEAVE)).status_code == 303
        said = await at.get(WORK)
        assert "Humidity low: leave until 11:10 (Ben): nozzle on order" in words(said)
        (hold_id,) = re.findall(r'<option value="([0-9a-f]{32})">', said.text)
        ended = await at.post(WORK, data={"act": "end", "person_id": "maria", "hold_id": hold_id})
        assert ended.status_code == 303
        assert "leave until" not in words(await at.get(WORK))
        assert (await at.post(WORK, data={**LEAVE, "limit": "every", "hours": "24"})).status_code == 303
        assert "Every crop limit: leave until Thu 26 Nov 07:10 (Ben): nozzle on order" in words(await at.get(WORK))


@pytest.mark.parametrize(
    ("change", "status", "said"),
    [
        ({"person_id": ""}, 422, "say first who you are"),
        ({"person_id": "nobody"}, 404, "there is nobody"),
        ({"act": ""}, 422, "neither working, out, leave nor end"),
        ({"hours": ""}, 422, "always has an end"),
        ({"hours": "48"}, 422, "always has an end"),
        ({"hours": "-1"}, 422, "always has an end"),
        ({"limit": ""}, 422, "say which is left"),
        ({"limit": "co2/people"}, 422, "say which is left"),
        ({"limit": "mood/low"}, 422, "say which is left"),
        ({"why": " "}, 422, "say in a few words why"),
        ({"why": "a\x07b"}, 422, "say in a few words why"),
        ({"act": "working", "hours": "24"}, 422, "always has an end"),
        ({"act": "working", "person_id": "nobody", "hours": "1"}, 404, "there is nobody"),
        ({"act": "end", "hold_id": "abc"}, 404, "nothing is or was held back"),
    ],
)
async def test_what_cannot_be_is_explained_and_changes_nothing(
    database: Database, farm: dict[str, Any], change: dict[str, str], status: int, said: str
) -> None:
    async with _client(database, farm) as at:
        answer = await at.post(WORK, data={**LEAVE, **change})
        assert (answer.status_code, said.lower() in words(answer).lower()) == (status, True), words(answer)
        assert "Nobody is written down as working here" in words(await at.get(WORK))
        assert (await at.get("/rooms/nowhere/work")).status_code == 404


@pytest.mark.slow
@pytest.mark.parametrize("javascript", [True, False])
async def test_working_is_said_on_a_phone(database: Database, farm: dict[str, Any], *, javascript: bool) -> None:
    """48 px is the measure that the job asks for."""
    desk = farmyard.desk(database, farm, HandClock(farmyard.NOW_MS))
    async with serving(desk) as address, open_browser() as browser:
        context = await browser.new_context(viewport={"width": 390, "height": 900}, java_script_enabled=javascript)
        page = await context.new_page()
        complained = complaints(page)
        await page.goto(f"{address}/rooms/house-7")
        await page.get_by_role("link", name="Work, or leave a limit").click()
        await page.wait_for_url("**/work")
        for target in await page.locator(
            "a:visible, button:visible, .pick:visible, select:visible, input[name=why]"
        ).all():
            box = await target.bounding_box()
            assert box is not None
            assert min(box["width"], box["height"]) >= 48
        assert await page.evaluate("document.documentElement.scrollWidth") <= 390
        form = page.locator("form").first
        await form.get_by_role("radio", name="Maria").check()
        await form.get_by_label("Until").select_option("4")
        await form.get_by_role("button", name="Working in House 7").click()

        await page.get_by_text("Working until 11:10 (Maria)").first.wait_for()
        await page.wait_for_load_state()
        assert await page.evaluate("document.documentElement.scrollWidth") <= 390
        assert complained == []
