"""The pages of answering links, asked for over real HTTP."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Final

import httpx

from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.link_farm import LinkFarm
from tests.support.page_server import serving

FORGED: Final = "A" * 24


@asynccontextmanager
async def open_client(house: LinkFarm, clock: HandClock) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the pages on a real socket."""
    async with (
        serving(farmyard.desk(house.database, house.farm, clock)) as address,
        httpx.AsyncClient(base_url=address) as client,
    ):
        yield client


def said(answer: httpx.Response) -> str:
    """The words of a page."""
    body = answer.text.partition("<main>")[2]
    return " ".join(re.sub(r"<[^>]*>", " ", body).split())


def onward(answer: httpx.Response) -> str:
    found = re.search(r'href="(/a/[A-Za-z0-9_-]{24})"', answer.text)
    assert found, said(answer)
    return found[1]
