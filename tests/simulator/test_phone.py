"""The pretend phones: keep texts, drop repeats of a key, let people answer, and say that all of it is invented."""

from __future__ import annotations

from typing import Final

import httpx
import pytest

from simulator import books
from simulator.clock import FarmClock
from simulator.inbox import MOST_TEXTS, Inbox, Incoming
from simulator.phone import phone_app
from simulator.way_back import NOT_SET_UP

pytestmark = pytest.mark.pure

WALL_MS: Final = 1_795_000_000_000
CLOCK: Final = FarmClock(
    anchor_wall_ms=WALL_MS - 60_000, anchor_farm_ms=0, factor=20.0, read_wall_ms=lambda: WALL_MS
)
FARM_MS: Final = 20 * 60_000
IDA: Final = "+15185550117"
ROSALBA: Final = "+15185550163"
TEXT: Final = {"to": IDA, "text": "House 1: <humidity> 83 %, low"}


def phone() -> httpx.AsyncClient:
    """A client of a fresh phone, without a socket."""
    return httpx.AsyncClient(
        transport=httpx.ASGITransport(app=phone_app(Inbox(CLOCK), CLOCK)), base_url="http://phone"
    )


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
                "farm_ms": FARM_MS,
                "arrived_ms": FARM_MS,
                "receipt": None,
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
        assert "2 more times, shown once" in (await client.get("/")).text


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
        inbox.write("a", str(number))
    assert [inbox.texts()[0].text, len(inbox.texts())] == ["5", MOST_TEXTS]
    assert [inbox.written()[0].text, len(inbox.written())] == ["5", MOST_TEXTS]


def section(page: str, name: str) -> str:
    """The part of the page that is one phone."""
    return page.partition(f'<section id="{name}"')[2].partition("</section>")[0]


async def test_everybody_has_a_phone_of_their_own_and_so_has_a_number_of_nobodys() -> None:
    async with phone() as client:
        await client.post("/send", json=TEXT | {"to": ROSALBA, "text": "Casa 1: humedad 80%"})
        await client.post("/send", json=TEXT | {"to": "+15550100", "text": "to a stranger"})
        page = (await client.get("/")).text
    assert page.count("<section ") == len(books.PEOPLE) + 1
    assert all(person.name in section(page, person.person_id) for person in books.PEOPLE)
    assert '<p lang="es">Casa 1: humedad 80%</p>' in section(page, "rosalba")
    assert "No texts yet" in section(page, "ida")
    assert "to a stranger" in section(page, "+15550100")


async def test_texts_to_a_phone_that_is_off_wait_until_it_is_on() -> None:
    async with phone() as client:
        off = await client.post("/phones/ida/switch", data={"to": "off"})
        assert off.json() == {"switched": "off", "arrived": 0}
        await client.post("/send", json=TEXT)
        await client.post("/send", json=TEXT | {"to": ROSALBA})
        page = (await client.get("/")).text
        assert "Switched off: 1 text waits" in section(page, "ida")
        assert "humidity" not in section(page, "ida")
        assert "humidity" in section(page, "rosalba")
        assert [text["arrived_ms"] for text in (await client.get("/texts")).json()] == [None, FARM_MS]
        on = await client.post("/phones/ida/switch", data={"to": "on"})
        assert on.json() == {"switched": "on", "arrived": 1}
        assert "humidity" in section((await client.get("/")).text, "ida")


async def test_without_a_way_to_the_service_the_page_says_so_and_nothing_is_sent() -> None:
    async with phone() as client:
        page = (await client.get("/")).text
        assert "cannot answer" in page
        assert 'name="text"' not in page
        answered = await client.post("/phones/ida/answers", data={"text": "1 going"})
    assert answered.json()["came_back"] == NOT_SET_UP


@pytest.mark.parametrize(
    ("name", "text", "status"),
    [("ida", " ", 422), ("ida", "", 422), ("ida", "x" * 481, 422), ("nobody", "1 going", 404)],
)
async def test_what_is_no_answer_or_of_no_phone_is_refused(name: str, text: str, status: int) -> None:
    async with phone() as client:
        assert (await client.post(f"/phones/{name}/answers", data={"text": text})).status_code == status
        assert (await client.get("/answers")).json() == []
