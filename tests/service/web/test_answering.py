"""The page of an answering link, over real HTTP: who may look, and who may answer.

What a GET may do is RFC 9110 section 9.2.1 (safe methods); 410 is section 15.5.11.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator
from typing import Any, Final

import httpx
import pytest
from sqlalchemy import update

from service.storage import ledger
from service.storage.database import Database
from service.storage.tables import metadata, people
from tests.support.clock import HandClock
from tests.support.link_farm import LINK_MINUTES, OPEN_AT, LinkFarm, dry_house
from tests.support.link_pages import FORGED, onward, open_client, said
from tests.support.watched import minute
from tests.support.written import written

LARGEST_PAGE_BYTES: Final = 10_000


@pytest.fixture
async def house(database: Database) -> LinkFarm:
    return await dry_house(database)


@pytest.fixture
def clock() -> HandClock:
    return HandClock(minute(OPEN_AT))


@pytest.fixture
async def client(house: LinkFarm, clock: HandClock) -> AsyncIterator[httpx.AsyncClient]:
    async with open_client(house, clock) as opened:
        yield opened


async def everything(database: Database) -> dict[str, list[dict[str, Any]]]:
    return {name: await written(database, name) for name in metadata.tables}


# --- looking --------------------------------------------------------------------------------------------------


async def test_the_page_says_what_is_open_and_who_goes(house: LinkFarm, client: httpx.AsyncClient) -> None:
    page = await client.get(f"/a/{await house.link()}")

    assert page.status_code == 200
    assert said(page) == (
        "House 7: past its limit since 07:15, and still so. Humidity now 80%, under limit 85%. "
        "Nobody has said that they are going. Before you go in. Follow your local codes. Power off and locked "
        "before anyone touches a belt, a pump or wiring: qualified people only. Going Cannot You answer as Maria."
    )
    assert "Invented data." in page.text


async def test_somebody_who_goes_already_is_named(house: LinkFarm, client: httpx.AsyncClient) -> None:
    await client.post(f"/a/{await house.link('ben')}", data={"word": "going"})
    page = await client.get(f"/a/{await house.link()}")
    assert "Ben is going, said at 07:26." in said(page)


async def test_whoever_is_going_is_asked_for_out(house: LinkFarm, client: httpx.AsyncClient) -> None:
    await client.post(f"/a/{await house.link()}", data={"word": "going"})
    page = await client.get(f"/a/{await house.link(delivery_id='telling-2')}")
    assert "You said at 07:26 that you are going." in said(page)
    assert re.findall(r'name="word" value="(\w+)"', page.text) == ["out", "cannot"]


async def test_what_is_over_asks_for_nothing(house: LinkFarm, client: httpx.AsyncClient, clock: HandClock) -> None:
    token = await house.link()
    await house.come_back()
    clock.set(minute(45))
    page = await client.get(f"/a/{token}")
    assert said(page) == "House 7: over since 07:40. Nothing to answer any more. You answer as Maria."
    assert "<form" not in page.text


async def test_the_page_is_in_the_persons_language_and_units(house: LinkFarm, client: httpx.AsyncClient) -> None:
    async with house.database.write() as connection:
        await connection.execute(update(people).values(language="es"))
    page = await client.get(f"/a/{await house.link()}")
    assert '<html lang="es">' in page.text
    assert said(page).startswith(
        "House 7: fuera de su límite desde las 07:15, y sigue igual. Humedad ahora 80%, bajo límite 85%."
    )
    assert "Voy No puedo Usted responde como Maria." in said(page)


@pytest.mark.parametrize("method", ["GET", "HEAD"])
async def test_looking_changes_nothing_however_often(
    house: LinkFarm, client: httpx.AsyncClient, method: str
) -> None:
    """Mail scanners and previews follow every link, some with words in the query."""
    tokens = [await house.link(), await house.link("ben")]
    before = await everything(house.database)
    for token in (*tokens, FORGED):
        for query in ("", "?word=going", "?answer=going&word=out"):
            await client.request(method, f"/a/{token}{query}")
    assert await everything(house.database) == before


async def test_a_look_at_the_headers_alone_says_as_much_as_a_look(
    house: LinkFarm, client: httpx.AsyncClient
) -> None:
    address = f"/a/{await house.link()}"
    head, page = await client.head(address), await client.get(address)
    assert head.content == b""
    same = {name: head.headers[name] for name in head.headers if name not in {"date", "content-encoding", "vary"}}
    assert {**page.headers, **same} == dict(page.headers)


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE"])
async def test_no_other_method_answers(house: LinkFarm, client: httpx.AsyncClient, method: str) -> None:
    answer = await client.request(method, f"/a/{await house.link()}", content=b"word=going")
    assert answer.status_code == 405
    assert await house.words() == []


async def test_no_page_of_a_link_is_kept_found_or_passed_on(house: LinkFarm, client: httpx.AsyncClient) -> None:
    token = await house.link()
    pages = [
        await client.get(f"/a/{token}"),
        await client.post(f"/a/{token}", data={"word": "going"}),
        await client.get(f"/a/{token}"),
        await client.get(f"/a/{FORGED}"),
    ]
    for page in pages:
        assert page.headers["cache-control"] == "no-store"
        assert page.headers["referrer-policy"] == "no-referrer"
        assert page.headers["x-robots-tag"] == "noindex, nofollow, noarchive"
        assert page.headers["x-content-type-options"] == "nosniff"
        assert "default-src 'none'" in page.headers["content-security-policy"]
        assert "set-cookie" not in page.headers
        assert "<script" not in page.text
        assert len(page.content) < LARGEST_PAGE_BYTES
        assert not re.search(r'(?:src|href)="(?!data:|/a/)', page.text)


# --- answering ------------------------------------------------------------------------------------------------


async def test_one_button_is_one_answer_by_link(house: LinkFarm, client: httpx.AsyncClient) -> None:
    page = await client.post(f"/a/{await house.link()}", data={"word": "going"})
    assert page.status_code == 200
    assert said(page).startswith("Written down at 07:26: you are going. House 7.")
    assert "I am out" in said(page)
    assert await house.words() == [("maria", "going", "link")]


async def test_out_is_said_by_the_link_that_going_gave(
    house: LinkFarm, client: httpx.AsyncClient, clock: HandClock
) -> None:
    address = f"/a/{await house.link()}"
    went = await client.post(address, data={"word": "going"})
    found_again = await client.get(address)
    assert onward(went) == onward(found_again)

    clock.set(minute(OPEN_AT + 20))
    asked = await client.get(onward(went))
    assert re.findall(r'name="word" value="(\w+)"', asked.text) == ["out"]
    out = await client.post(onward(went), data={"word": "out"})

    assert said(out).startswith("Written down at 07:46: you are out.")
    assert await house.words() == [("maria", "going", "link"), ("maria", "out", "link")]
    assert "href" not in (await client.get(address)).text.partition("<main>")[2]


async def test_cannot_says_that_the_next_person_is_told(house: LinkFarm, client: httpx.AsyncClient) -> None:
    page = await client.post(f"/a/{await house.link()}", data={"word": "cannot"})
    assert said(page).startswith("Written down at 07:26: you cannot. The next person is told.")


async def test_the_second_of_two_posts_finds_the_first(house: LinkFarm, client: httpx.AsyncClient) -> None:
    address = f"/a/{await house.link()}"
    pages = await asyncio.gather(*(client.post(address, data={"word": "going"}) for _ in range(4)))
    assert sorted(page.status_code for page in pages) == [200, 410, 410, 410]
    assert all("07:26" in said(page) for page in pages)
    assert await house.words() == [("maria", "going", "link")]


async def test_a_used_link_says_when_and_what_for(
    house: LinkFarm, client: httpx.AsyncClient, clock: HandClock
) -> None:
    address = f"/a/{await house.link()}"
    await client.post(address, data={"word": "cannot"})
    clock.set(minute(OPEN_AT + 5))
    for page in (await client.get(address), await client.post(address, data={"word": "going"})):
        assert page.status_code == 410
        assert said(page).startswith("Cannot, written down at 07:26.")
    assert await house.words() == [("maria", "cannot", "link")]


async def test_an_old_link_says_that_it_is_too_old(
    house: LinkFarm, client: httpx.AsyncClient, clock: HandClock
) -> None:
    address = f"/a/{await house.link()}"
    clock.set(minute(OPEN_AT + LINK_MINUTES))
    for page in (await client.get(address), await client.post(address, data={"word": "going"})):
        assert page.status_code == 410
        assert said(page).startswith("This link is too old. It worked until 19:26.")
    assert await house.words() == []


async def test_an_answer_after_the_end_says_so(
    house: LinkFarm, client: httpx.AsyncClient, clock: HandClock
) -> None:
    address = f"/a/{await house.link()}"
    await house.come_back()
    clock.set(minute(45))
    page = await client.post(address, data={"word": "going"})
    assert "It was over by then, since 07:40." in said(page)


@pytest.mark.parametrize(
    "body", [b"", b"word=", b"word=GOING", b"word=working", b"word=going&word=out", b"\xff", b"x" * 5000]
)
async def test_what_is_no_answer_is_asked_again(house: LinkFarm, client: httpx.AsyncClient, body: bytes) -> None:
    page = await client.post(f"/a/{await house.link()}", content=body)
    assert page.status_code == 422
    assert "That was not understood, and nothing was changed." in said(page)
    assert "<form" in page.text
    assert await house.words() == []


async def test_going_is_no_answer_to_a_link_for_out(house: LinkFarm, client: httpx.AsyncClient) -> None:
    went = await client.post(f"/a/{await house.link()}", data={"word": "going"})
    page = await client.post(onward(went), data={"word": "cannot"})
    assert page.status_code == 409
    assert await house.words() == [("maria", "going", "link")]


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "null"},
        {"origin": "null", "sec-fetch-site": "same-origin"},
        {"sec-fetch-site": "none"},
        {"sec-fetch-site": "cross-site", "origin": "https://mail.example"},
    ],
)
async def test_the_token_is_proof_enough_wherever_the_form_was_opened(
    house: LinkFarm, client: httpx.AsyncClient, headers: dict[str, str]
) -> None:
    """A page that gives no referrer posts with "Origin: null" (Fetch standard, section 3.1)."""
    page = await client.post(f"/a/{await house.link()}", data={"word": "going"}, headers=headers)
    assert page.status_code == 200


async def test_no_other_address_is_open_to_other_sites(client: httpx.AsyncClient) -> None:
    for path in ("/rooms/house-7/answers", "/a/../rooms/house-7/answers", "/a", "/ab/x"):
        answer = await client.post(path, data={"word": "going"}, headers={"origin": "null"})
        assert answer.status_code in {403, 404, 405}, path


async def looked_for(house: LinkFarm, why: str) -> str:
    """Maria went in and said no "out"; Ben is told to look after her."""
    happening_id = f"out/maria@{minute(OPEN_AT)}"
    began = {"happening_id": happening_id, "room_id": None, "began_ms": minute(OPEN_AT), "ended_ms": None}
    facts = {
        "person": "Maria",
        "phone": "+12025550141",
        "room": "House 7",
        "since_ms": minute(-20),
        "why": why,
    }
    notice = {
        "notice_key": f"{happening_id}/look after",
        "kind": "look after",
        "telling": "wake",
        "room_id": "house-7",
        "happening_id": happening_id,
        "at_ms": minute(OPEN_AT),
        "decided_ms": minute(OPEN_AT),
        "use_by_ms": minute(OPEN_AT + 60),
        "facts": {**facts, "at_ms": minute(OPEN_AT), "zone": house.farm["zone"], "invented": True},
    }
    async with house.database.write() as connection:
        await ledger.save_happening(connection, 1, {**began, "closed_ms": None, "woke": 1, "part_of": None})
        await ledger.add_notices(connection, 1, [notice])
    return happening_id


@pytest.mark.parametrize(
    ("why", "words"),
    [
        ("going", "Maria went to House 7 at 06:50 and has not said out."),
        ("working", "Maria has worked in House 7 since 06:50 and has not said out."),
    ],
)
async def test_whoever_is_told_to_look_after_somebody_can_say_that_they_are_out(
    house: LinkFarm, client: httpx.AsyncClient, why: str, words: str
) -> None:
    happening_id = await looked_for(house, why)
    address = f"/a/{await house.link('ben', happening_id=happening_id)}"
    page = await client.get(address)
    assert said(page).startswith(words)
    assert "Do not go in alone." in said(page)
    assert said(page).endswith("Going Maria is out Cannot You answer as Ben.")

    done = await client.post(address, data={"word": "out"})
    assert said(done).startswith("Written down at 07:26: Maria is out.")
    [row] = await written(house.database, "happenings", happening_id=happening_id)
    assert row["ended_ms"] == minute(OPEN_AT)
