"""The pretend phone: keeps texts, drops repeats of a key, says that everything is invented."""

from __future__ import annotations

from typing import Final

import httpx
import pytest

from simulator.clock import FarmClock
from simulator.phone import MOST_TEXTS, Inbox, Incoming, phone_app

pytestmark = pytest.mark.pure

WALL_MS: Final = 1_795_000_000_000
CLOCK: Final = FarmClock(
    anchor_wall_ms=WALL_MS - 60_000, anchor_farm_ms=0, factor=20.0, read_wall_ms=lambda: WALL_MS
)
TEXT: Final = {"to": "+15550100", "text": "House 1: <humidity> 83 %, low"}


def phone() -> httpx.AsyncClient:
    """A client of a fresh phone, without a socket."""
    return httpx.AsyncClient(transport=httpx.ASGITransport(app=phone_app(Inbox(CLOCK))), base_url="http://phone")


async def test_a_text_is_kept_with_both_times() -> None:
    async with phone() as client:
        sent = await client.post("/send", json=TEXT, headers={"Idempotency-Key": "notice-1"})
        assert (sent.status_code, sent.json()) == (200, {"number": 1, "repeat": False})
        assert (await client.get("/texts")).json() == [
            TEXT
            | {
                "number": 1,
                "key": "notice-1",
                "repeats": 0,
                "wall_ms": WALL_MS,
                "farm_ms": 20 * 60_000,
            }
        ]


async def test_the_same_key_again_is_counted_and_shown_once() -> None:
    async with phone() as client:
        for _ in range(3):
            last = await client.post("/send", json=TEXT, headers={"Idempotency-Key": "notice-1"})
        await client.post("/send", json=TEXT, headers={"Idempotency-Key": "notice-2"})
        assert last.json() == {"number": 1, "repeat": True}
        texts = (await client.get("/texts")).json()
        assert [(text["key"], text["repeats"]) for text in texts] == [("notice-1", 2), ("notice-2", 0)]
        assert "2 more, shown once" in (await client.get("/")).text


async def test_texts_without_a_key_are_all_different() -> None:
    async with phone() as client:
        for _ in range(2):
            await client.post("/send", json=TEXT)
        assert len((await client.get("/texts")).json()) == 2


async def test_the_page_shows_the_newest_first_escaped_and_says_invented_data() -> None:
    async with phone() as client:
        assert "No texts yet" in (await client.get("/")).text
        await client.post("/send", json=TEXT)
        await client.post("/send", json=TEXT | {"text": "back in band"})
        page = (await client.get("/")).text
    assert page.index("back in band") < page.index("&lt;humidity&gt;")
    assert "<humidity>" not in page
    assert "Invented data" in page


@pytest.mark.parametrize("body", [{}, {"to": "", "text": "x"}, {"to": "a"}, {"to": "a", "text": "x" * 2001}])
async def test_what_is_no_text_is_refused(body: dict[str, str]) -> None:
    async with phone() as client:
        assert (await client.post("/send", json=body)).status_code == 422
        assert (await client.get("/texts")).json() == []


def test_the_phone_forgets_the_oldest() -> None:
    inbox = Inbox(CLOCK)
    for number in range(MOST_TEXTS + 5):
        inbox.take(Incoming(to="a", text=str(number)), str(number))
    assert [inbox.texts()[0].text, len(inbox.texts())] == ["5", MOST_TEXTS]
