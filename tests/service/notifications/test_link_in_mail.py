"""The whole way of an answering link: written into a mail, carried by a real mail server, opened, answered."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from pathlib import Path

import httpx
import pytest
from sqlalchemy import update

from service.notifications.address import Address
from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.deliver import Deliver
from service.notifications.routing import Way
from service.notifications.writing import Writing
from service.storage.database import Database
from service.storage.tables import people
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.databases import sqlite_database
from tests.support.link_farm import OPEN_AT, LinkFarm, dry_house
from tests.support.mail_server import mail_server
from tests.support.page_server import serving
from tests.support.watched import minute
from tests.support.written import written


@pytest.fixture
async def database(tmp_path: Path) -> AsyncIterator[Database]:
    async with sqlite_database(tmp_path) as opened:
        yield opened


@pytest.fixture
async def house(database: Database) -> LinkFarm:
    return await dry_house(database)


async def mailed(house: LinkFarm, clock: HandClock, public_url: str | None) -> list[str]:
    """Tell whom there is to tell by mail, and return the words of the letters."""
    async with house.database.write() as connection:
        await connection.execute(update(people).values(way="mail"))
    with mail_server() as box:
        server = MailServer(host="127.0.0.1", port=box.port, sender="farm@example.org", security="none")
        carriers = {Way.MAIL: MailCarrier(server)}
        ways = frozenset(carriers)
        await Address(database=house.database, farm=house.farm, clock=clock, ways=ways).all_notices()
        writing = Writing(farm=house.farm, public_url=public_url)
        deliver = Deliver(
            database=house.database, farm=house.farm, clock=clock, carriers=carriers, writing=writing
        )
        await deliver.all_due()
        bodies = [letter.get_body(["plain"]) for letter in box.letters]
    return [str(body.get_content()) for body in bodies if body is not None]


async def test_a_mailed_link_is_answered_in_two_steps(house: LinkFarm) -> None:
    clock = HandClock(minute(OPEN_AT))
    async with serving(farmyard.desk(house.database, house.farm, clock)) as address, httpx.AsyncClient() as client:
        letters = await mailed(house, clock, address)
        assert letters
        [link] = re.findall(rf"{re.escape(address)}/a/[A-Za-z0-9_-]{{24}}", letters[0])

        page = await client.get(link)
        assert page.status_code == 200
        assert await house.words() == []
        done = await client.post(link, data={"word": "going"})

    assert "Written down" in done.text
    assert [(word, way) for _, word, way in await house.words()] == [("going", "link")]
    [used] = [row for row in await written(house.database, "links") if row["used_ms"] is not None]
    assert used["person_id"] == (await house.words())[0][0]


async def test_without_a_public_address_nobody_gets_a_link(house: LinkFarm) -> None:
    letters = await mailed(house, HandClock(minute(OPEN_AT)), None)
    assert letters
    assert not any("/a/" in letter for letter in letters)
    assert await written(house.database, "links") == []
