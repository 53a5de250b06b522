"""The sheet's questions and the Friday page in a real browser, on a phone and on a desk, by day and by night."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Any, Literal

import pytest
from playwright.async_api import Browser

from service.localtime import at_local
from service.storage.database import Database
from tests.support import farmyard, told_week
from tests.support.browser import complaints, open_browser
from tests.support.clock import HandClock
from tests.support.page_server import serving

pytestmark = pytest.mark.slow

GLOVE_PX = 48
PATIENCE_MS = 10_000


@pytest.fixture
async def browser() -> AsyncIterator[Browser]:
    async with open_browser() as running:
        yield running


@pytest.mark.parametrize("javascript", [True, False])
async def test_with_three_taps_it_is_said_and_a_name_is_asked_for_once(
    dry_night: Database, farm: dict[str, Any], browser: Browser, *, javascript: bool
) -> None:
    async with serving(farmyard.desk(dry_night, farm, HandClock(farmyard.NOW_MS))) as address:
        context = await browser.new_context(viewport={"width": 390, "height": 900}, java_script_enabled=javascript)
        context.set_default_timeout(PATIENCE_MS)
        page = await context.new_page()
        await page.goto(address)

        await page.get_by_text("Say what it was").click()
        await page.get_by_role("radio", name="Maria").check()
        await page.get_by_role("button", name="Gear").click()
        await page.get_by_text("It was: gear. Said by Maria, 07:10.").wait_for()
        await page.get_by_role("button", name="Some harm").click()

        await page.get_by_text("It was: gear. Some harm. Said by Maria, 07:10.").wait_for()
        assert "night=2026-11-24#was-house-7" in page.url
        await context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
async def test_both_pages_fit_and_everything_one_taps_is_big_enough(
    dry_night: Database, farm: dict[str, Any], browser: Browser, width: int, scheme: Literal["light", "dark"]
) -> None:
    await told_week.live(dry_night, farm)
    friday = at_local(told_week.FRIDAY, 13 * 60 + 5, farmyard.ZONE)
    for path, at_ms in (("/", farmyard.NOW_MS), ("/friday", friday)):
        async with serving(farmyard.desk(dry_night, farm, HandClock(at_ms))) as address:
            context = await browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
            context.set_default_timeout(PATIENCE_MS)
            page = await context.new_page()
            complained = complaints(page)
            await page.goto(address + path, wait_until="networkidle")
            for folded in await page.locator("summary").all():
                await folded.click()

            assert await page.evaluate("document.documentElement.scrollWidth") <= width, path
            for target in await page.locator(
                "button:visible, summary:visible, .pick:visible, .button:visible"
            ).all():
                box = await target.bounding_box()
                assert box is not None
                assert min(box["width"], box["height"]) >= GLOVE_PX, await target.inner_text()
            assert complained == []
            await context.close()
