"""Takes the pictures of the README from a running demo: ``python -m tests.end_to_end.screenshots FOLDER``.

Not a test. Every page is looked at as on a phone and as on a desk; whoever changes a page runs this, looks at the
pictures, and copies those that the README shows to ``.screenshots/``.
"""

from __future__ import annotations

import asyncio
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
from playwright.async_api import Browser

from simulator import evening
from tests.house_measures import ROOT
from tests.support.browser import CHROMIUM, open_browser
from tests.support.small_png import repacked
from tests.support.waiting import until_sync

WIDTHS = {"phone": 390, "desk": 1280}
LEAST_HEIGHT = 480
"""Pictures reach to the end of their page; this is for pages that are shorter."""
FAULT_AFTER_S = 15
ENDING_S = 40


def main(words: list[str]) -> int:
    """Take all pictures; 0 when they are there."""
    if len(words) != 1 or CHROMIUM is None:
        sys.stderr.write("Usage: python -m tests.end_to_end.screenshots FOLDER (needs chromium)\n")
        return 2
    folder = Path(words[0])
    folder.mkdir(parents=True, exist_ok=True)
    with demo_after_its_text() as (pages, phones):
        _answer(phones)
        asyncio.run(_take_all(_addresses(pages, phones), folder))
    for picture in sorted(folder.glob("*.png")):
        picture.write_bytes(repacked(picture.read_bytes()))
        sys.stdout.write(f"{picture.stat().st_size / 1000:6.0f} kB  {picture}\n")
    return 0


@contextmanager
def demo_after_its_text() -> Iterator[tuple[str, str]]:
    """The demo once its first text is there: the addresses of the pages and of the phones."""
    command = [sys.executable, "-m", "service", "demo", "--port", "0", "--phone-port", "0"]
    command += ["--fault-after-s", str(FAULT_AFTER_S)]
    demo = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        said = _said_until(demo, "goes on until you press Ctrl-C")
        yield _found(r"Pages: +(\S+)", said), _found(r"Phones: +(\S+)", said)
    finally:
        demo.send_signal(signal.SIGINT)
        demo.communicate(timeout=ENDING_S)


def _said_until(demo: subprocess.Popen[str], words: str) -> str:
    assert demo.stdout
    said = ""
    for line in demo.stdout:
        said += line
        if words in line:
            return said
    raise RuntimeError(f"the demo ended too soon:\n{said}")


def _found(pattern: str, said: str) -> str:
    found = re.search(pattern, said)
    assert found
    return found[1]


def _answer(phones: str) -> None:
    """Whoever was told says that they go, and has that confirmed."""
    with httpx.Client(base_url=phones, trust_env=False) as http:
        told = http.get("/texts").json()
        http.post(f"/phones/{told[-1]['to']}/answers", data={"text": evening.ANSWER}).raise_for_status()
        until_sync(lambda: len(http.get("/texts").json()) > len(told), within_s=20, what="a confirmation")


def _addresses(pages: str, phones: str) -> dict[str, str]:
    """What is shown: the farm tonight, the house with the fault, the house that had a bad stretch last night."""
    with_bad_stretch = f"{pages}/rooms/house-3"
    last_night = _found(r'href="(\?night=[^"]+)"', httpx.get(with_bad_stretch, trust_env=False).text)
    return {
        "rooms": f"{pages}/",
        "room": f"{pages}/rooms/house-1",
        "last-night": with_bad_stretch + last_night,
        "pretend-phones": f"{phones}/",
    }


async def _take_all(addresses: dict[str, str], folder: Path) -> None:
    async with open_browser() as browser:
        for title, address in addresses.items():
            for size, width in WIDTHS.items():
                await _take(browser, address, width, folder / f"{title}-{size}.png")


async def _take(browser: Browser, address: str, width: int, to: Path) -> None:
    page = await browser.new_page(viewport={"width": width, "height": LEAST_HEIGHT}, color_scheme="light")
    await page.goto(address, wait_until="networkidle")
    await page.screenshot(path=to, full_page=True)
    await page.close()


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
