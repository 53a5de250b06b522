"""The page of the pretend phones in a real browser: with a script and without, on a phone and on a desk."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from typing import Final

import httpx
import pytest
from playwright.async_api import Browser

from simulator.clock import FarmClock
from simulator.inbox import Inbox
from simulator.phone import phone_app
from simulator.way_back import TAKEN, WayBack
from simulator.web_door import WebDoor
from tests.support.browser import complaints, open_browser
from tests.support.text_gateway import pretend_gateway

pytestmark = pytest.mark.slow

CLOCK: Final = FarmClock(anchor_wall_ms=0, anchor_farm_ms=0)
IDA: Final = "+15185550117"
LONG: Final = "x" * 160
WIDTHS: Final = (390, 1280)


@pytest.fixture
def address() -> Iterator[str]:
    """Where phones listen whose answers are always taken."""
    with pretend_gateway() as service:
        way_back = WayBack(service_url=service.url, secret="made at random", clock=CLOCK)
        with WebDoor(phone_app(Inbox(CLOCK), CLOCK, way_back)) as door:
            yield door.url


@pytest.fixture
async def browser() -> AsyncIterator[Browser]:
    async with open_browser() as running:
        yield running


def text_to(address: str, phone: str, text: str) -> None:
    httpx.post(f"{address}/send", json={"to": phone, "text": text}, trust_env=False).raise_for_status()


@pytest.mark.parametrize("width", WIDTHS)
async def test_a_text_comes_by_itself_and_what_is_being_typed_stays(
    browser: Browser, address: str, width: int
) -> None:
    page = await browser.new_page(viewport={"width": width, "height": 800})
    found = complaints(page)
    await page.goto(address)
    field = page.get_by_label("Answer as Ida Quillfeather")
    await field.fill("1 go")
    text_to(address, IDA, "House 1: humidity 80%")
    await page.get_by_text("House 1: humidity 80%").wait_for()
    assert await field.input_value() == "1 go"
    await field.press_sequentially("ing\n")
    await page.get_by_text(f"service: {TAKEN}").wait_for()
    assert found == []


@pytest.mark.parametrize("width", WIDTHS)
async def test_nothing_reaches_past_the_edge_of_the_screen(browser: Browser, address: str, width: int) -> None:
    for phone in (IDA, "+15550100"):
        text_to(address, phone, LONG)
    page = await browser.new_page(viewport={"width": width, "height": 800})
    await page.goto(address)
    assert await page.evaluate("document.documentElement.scrollWidth") == width


async def test_without_a_script_people_switch_answer_and_look_again(browser: Browser, address: str) -> None:
    context = await browser.new_context(java_script_enabled=False)
    page = await context.new_page()
    await page.goto(address)
    ida = page.locator("#ida")
    await ida.get_by_role("button", name="Switch off").click()
    text_to(address, IDA, "House 1: humidity 80%")
    await page.get_by_role("link", name="Look for new texts").click()
    await ida.get_by_text("Switched off: 1 text waits").wait_for()
    await ida.get_by_role("button", name="Switch on").click()
    await ida.get_by_text("House 1: humidity 80%").wait_for()
    await ida.get_by_label("Answer as Ida Quillfeather").fill("1 going")
    await ida.get_by_role("button", name="Send").click()
    await ida.get_by_text(f"service: {TAKEN}").wait_for()
    await context.close()
