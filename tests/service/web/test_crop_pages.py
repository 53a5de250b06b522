"""Moving crops at a page: what is asked, why a move is refused, and how it is accepted as a compromise."""

from __future__ import annotations

from typing import Any

import httpx
import pytest

from service.storage.compromises import compromises_of
from service.storage.database import Database
from tests.support.browser import complaints, open_browser
from tests.support.clock import HandClock
from tests.support.farmyard import NOW_MS, desk
from tests.support.page_server import application, serving
from tests.support.page_words import words

PINS = {"crop": "chestnut/pinning", "person_id": "maria", "batch_id": ""}
"""Into house 3, where oysters fruit in drier air."""


def client(database: Database, farm: dict[str, Any]) -> httpx.AsyncClient:
    transport = httpx.ASGITransport(app=application(desk(database, farm, HandClock(NOW_MS))))
    return httpx.AsyncClient(transport=transport, base_url="http://farm.local")


async def test_the_page_says_what_grows_there_and_lists_what_could(
    database: Database, farm: dict[str, Any]
) -> None:
    async with client(database, farm) as at:
        answer = await at.get("/rooms/house-3/crops")

    assert answer.status_code == 200
    assert "There now OY-18: Gray oyster, fruiting" in words(answer)
    assert '<option value="chestnut/pinning">Chestnut, pins</option>' in answer.text
    assert '<option value="SH-41">SH-41, Shiitake</option>' in answer.text


async def test_a_crop_that_suits_moves_in(database: Database, farm: dict[str, Any]) -> None:
    async with client(database, farm) as at:
        done = await at.post("/rooms/house-3/crops", data={**PINS, "crop": "chestnut/fruiting"})
        assert (done.status_code, done.headers["location"]) == (303, "/rooms/house-3/crops")
        said = words(await at.get("/rooms/house-3/crops"))

    assert "Chestnut, fruiting" in said
    assert "suits all" in said
    assert "Gray oyster (fruiting) gives up" in said


async def test_one_that_does_not_is_refused_with_the_reason_and_can_be_accepted_by_name(
    database: Database, farm: dict[str, Any]
) -> None:
    async with client(database, farm) as at:
        refused = await at.post("/rooms/house-3/crops", data=PINS)
        assert refused.status_code == 409
        said = words(refused)
        assert "Humidity: Gray oyster (fruiting) wants" in said
        assert "nothing in common. Nothing was changed." in said
        assert "is the least bad: Chestnut (pins) up to" in said
        assert '<input type="hidden" name="crop" value="chestnut/pinning">' in refused.text
        assert "Chestnut" not in words(await at.get("/rooms/house-3/crops")).partition("Move in")[0]

        done = await at.post("/rooms/house-3/crops", data={**PINS, "person_id": "ben", "compromise": "accepted"})
        assert done.status_code == 303
        there = words(await at.get("/rooms/house-3/crops"))
        room, sheet = words(await at.get("/rooms/house-3")), words(await at.get("/"))

    line = "Humidity is a compromise since 07:10, accepted by Ben: 90 to 95%; Chestnut (pins) up to 5 points under"
    assert line in room
    assert f"Shared houses House 3 : {line}" in sheet
    assert "Humidity is a compromise since 07:10, accepted by Ben:" in there
    async with database.read() as connection:
        (row,) = await compromises_of(connection, farm["farm_id"], "house-3")
    assert (row["quantity"], row["who"]) == ("humidity", "Ben")


@pytest.mark.parametrize(
    ("room", "change", "status"),
    [
        ("nowhere", {}, 404),
        ("house-3", {"crop": ""}, 422),
        ("house-3", {"crop": "chestnut"}, 422),
        ("house-3", {"crop": "truffle/pinning"}, 404),
        ("house-3", {"crop": "chestnut/dreaming"}, 404),
        ("house-3", {"crop": "\x00/pinning"}, 404),
        ("house-3", {"batch_id": "none"}, 404),
        ("house-3", {"batch_id": "\x00"}, 404),
        ("house-3", {"batch_id": "SH-41"}, 409),
        ("house-3", {"person_id": ""}, 422),
        ("house-3", {"person_id": "nobody"}, 404),
    ],
)
async def test_what_cannot_be_moved_is_explained(
    database: Database, farm: dict[str, Any], room: str, change: dict[str, str], status: int
) -> None:
    async with client(database, farm) as at:
        answer = await at.post(f"/rooms/{room}/crops", data={**PINS, "compromise": "accepted", **change})
        assert answer.status_code == status
        assert (await at.get("/rooms/nowhere/crops")).status_code == 404


@pytest.mark.slow
@pytest.mark.parametrize("javascript", [True, False])
async def test_a_compromise_is_accepted_on_a_phone(
    database: Database, farm: dict[str, Any], *, javascript: bool
) -> None:
    """48 px is the measure that the job asks for."""
    async with serving(desk(database, farm, HandClock(NOW_MS))) as address, open_browser() as browser:
        context = await browser.new_context(viewport={"width": 390, "height": 900}, java_script_enabled=javascript)
        page = await context.new_page()
        complained = complaints(page)
        await page.goto(f"{address}/rooms/house-3/crops")
        await page.get_by_label("Crop and stage").select_option("chestnut/pinning")
        await page.get_by_role("radio", name="Maria").check()
        await page.get_by_role("button", name="Write it down, as of now").click()

        await page.get_by_text("nothing in common").first.wait_for()
        await page.wait_for_load_state()
        assert await page.get_by_role("radio", name="Maria").is_checked()
        for target in await page.locator("a:visible, button:visible, .pick:visible, select:visible").all():
            box = await target.bounding_box()
            assert box is not None
            assert min(box["width"], box["height"]) >= 48
        assert await page.evaluate("document.documentElement.scrollWidth") <= 390
        await page.get_by_role("button", name="Accept the compromise").click()

        await page.get_by_text("accepted by Maria").first.wait_for()
        await page.wait_for_load_state()
        assert await page.evaluate("document.documentElement.scrollWidth") <= 390
        assert [said for said in complained if "409" not in said] == []
