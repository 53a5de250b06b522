"""A real browser: Debian's chromium, driven by Playwright."""

from __future__ import annotations

import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from playwright.async_api import Browser, Page, async_playwright

CHROMIUM = shutil.which("chromium")


@asynccontextmanager
async def open_browser() -> AsyncIterator[Browser]:
    """Skips the test where there is no browser."""
    if CHROMIUM is None:
        pytest.skip("chromium is not installed (Debian: apt-get install chromium)")
    async with async_playwright() as playwright:
        # Build machines run as root, where the browser's own sandbox cannot start.
        browser = await playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            await browser.close()


def complaints(page: Page) -> list[str]:
    """Everything the browser complains about on this page, from now on."""
    found: list[str] = []
    page.on("console", lambda m: found.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda error: found.append(str(error)))
    page.on("requestfailed", lambda request: found.append(f"not loaded: {request.url}"))
    return found
