"""The page of an answering link in a real browser: on small phones, by day and by night, without JavaScript."""

from __future__ import annotations

import os
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Literal

import pytest
from playwright.async_api import Browser, Page
from sqlalchemy import update

from service.storage.database import Database
from service.storage.tables import people
from tests.support import farmyard
from tests.support.browser import complaints, open_browser
from tests.support.clock import HandClock
from tests.support.link_farm import OPEN_AT, LinkFarm, dry_house
from tests.support.page_server import serving
from tests.support.watched import minute

pytestmark = pytest.mark.slow

GLOVE_PX = 48
PICTURES = os.environ.get("LINK_PICTURES")
"""A folder for pictures of every page, to be looked at."""

Scheme = Literal["light", "dark"]


@pytest.fixture
async def browser() -> AsyncIterator[Browser]:
    async with open_browser() as running:
        yield running


@pytest.fixture
async def house(database: Database) -> LinkFarm:
    return await dry_house(database)


async def speak(house: LinkFarm, language: str) -> None:
    async with house.database.write() as connection:
        await connection.execute(update(people).values(language=language))


async def check(page: Page, width: int, name: str) -> None:
    """It fits, what one taps is big enough, and nothing else was fetched."""
    assert await page.evaluate("document.documentElement.scrollWidth") <= width, name
    for target in await page.locator("a:visible, button:visible").all():
        box = await target.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= GLOVE_PX, name
    if PICTURES:
        await page.screenshot(path=Path(PICTURES) / f"{name}.png", full_page=True)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 390])
@pytest.mark.parametrize("language", ["en", "es"])
async def test_one_can_go_and_come_out_again_without_javascript(
    house: LinkFarm, browser: Browser, language: str, width: int, scheme: Scheme
) -> None:
    going, out, way_out = {"en": ("Going", "Out", "I am out"), "es": ("Voy", "Salí", "Ya salí")}[language]
    await speak(house, language)
    clock = HandClock(minute(OPEN_AT))
    mark = f"{language}-{width}-{scheme}"
    async with serving(farmyard.desk(house.database, house.farm, clock)) as address:
        context = await browser.new_context(
            viewport={"width": width, "height": 640}, color_scheme=scheme, java_script_enabled=False
        )
        context.set_default_timeout(10_000)
        page = await context.new_page()
        complained = complaints(page)
        fetched: list[str] = []
        page.on("request", lambda request: fetched.append(request.url))
        link = f"{address}/a/{await house.link()}"

        await page.goto(link)
        assert fetched == [link]
        await check(page, width, f"open-{mark}")
        await page.get_by_role("button", name=going, exact=True).click()
        await check(page, width, f"taken-{mark}")
        assert await house.words() == [("maria", "going", "link")]

        clock.set(minute(OPEN_AT + 20))
        await page.goto(link)
        await check(page, width, f"used-{mark}")
        await page.get_by_role("link", name=way_out).click()
        await check(page, width, f"out-{mark}")
        await page.get_by_role("button", name=out, exact=True).click()
        await check(page, width, f"came-out-{mark}")
        assert await house.words() == [("maria", "going", "link"), ("maria", "out", "link")]

        await page.goto(f"{address}/a/{'A' * 24}")
        await check(page, width, f"nowhere-{mark}")
        assert [words for words in complained if "status of 4" not in words] == []
        await context.close()


async def test_one_sees_where_the_keyboard_is(house: LinkFarm, browser: Browser) -> None:
    async with serving(farmyard.desk(house.database, house.farm, HandClock(minute(OPEN_AT)))) as address:
        page = await browser.new_page(viewport={"width": 320, "height": 640})
        await page.goto(f"{address}/a/{await house.link()}")
        await page.keyboard.press("Tab")
        await page.keyboard.press("Enter")
        await page.get_by_text("you are going").first.wait_for()
        assert await house.words() == [("maria", "going", "link")]
