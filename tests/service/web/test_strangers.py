"""What strangers learn at the address of answering links: nothing, and slowly (429: RFC 6585 section 4)."""

from __future__ import annotations

from collections.abc import AsyncIterator

import httpx
import pytest
from sqlalchemy import update

from service.storage.database import Database
from service.storage.tables import people
from service.watch.links import signed_id, token_of
from service.web.guesses import MOST, REST_MS
from tests.support.clock import HandClock
from tests.support.link_farm import OPEN_AT, LinkFarm, dry_house
from tests.support.link_pages import FORGED, open_client, said
from tests.support.watched import minute


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


async def test_every_refusal_is_the_same_to_the_last_byte(house: LinkFarm, client: httpx.AsyncClient) -> None:
    """Forged, of nobody, of somebody who left, about nothing, cut, changed: status, headers and body are equal."""
    real, gone = await house.link(), await house.link("ben")
    async with house.database.write() as connection:
        await connection.execute(update(people).where(people.c.person_id == "ben").values(active=0))
    refused = [
        FORGED,
        real[:-1],
        real[:-1] + ("A" if real[-1] != "A" else "B"),
        gone,
        token_of(house.secret, 1, "00" * 8),
        token_of("00" * 32, 1, str(signed_id(house.secret, 1, real))),
        await house.link("nobody-here"),
        await house.link(happening_id="house-3@1"),
        "maria",
        "x" * 500,
        "%00",
    ]
    for method in ("GET", "POST"):
        seen = set()
        for token in refused:
            answer = await client.request(method, f"/a/{token}", content=b"word=going")
            headers = sorted((n, v) for n, v in answer.headers.items() if n != "date")
            seen.add((answer.status_code, answer.content, tuple(headers)))
        assert [status for status, *_ in seen] == [404]
    assert await house.words() == []


async def test_a_refusal_names_nobody_and_no_farm(house: LinkFarm, client: httpx.AsyncClient) -> None:
    page = await client.get(f"/a/{FORGED}")
    assert said(page).startswith("This address leads nowhere.")
    assert "Esta dirección no lleva a nada." in said(page)
    for name in ("Maria", "Ben", house.farm["name"], house.farm["place"], "House"):
        assert name not in page.text


async def test_guessing_is_slowed_and_a_right_link_works_all_the_same(
    house: LinkFarm, client: httpx.AsyncClient, clock: HandClock
) -> None:
    for _ in range(MOST):
        assert (await client.get(f"/a/{FORGED}")).status_code == 404
    slowed = await client.get(f"/a/{FORGED}")
    assert slowed.status_code == 429
    assert slowed.headers["retry-after"] == "300"

    address = f"/a/{await house.link()}"
    assert (await client.get(address)).status_code == 200
    assert (await client.post(address, data={"word": "going"})).status_code == 200

    clock.forward(REST_MS)
    assert (await client.get(f"/a/{FORGED}")).status_code == 404


async def test_a_forged_link_asks_the_database_nothing(house: LinkFarm, client: httpx.AsyncClient) -> None:
    """Once the secret is known, a stranger costs us a computation: there is no table of links to be asked here."""
    address = f"/a/{await house.link()}"
    assert (await client.get(address)).status_code == 200
    async with house.database.write() as connection:
        await connection.exec_driver_sql("ALTER TABLE links RENAME TO put_away")
    assert (await client.get(f"/a/{FORGED}")).status_code == 404
    broken = await client.get(address)
    assert broken.status_code == 500
    assert said(broken).startswith("Not possible just now.")
