"""Fetching answers from a real HTTP server that lists them, as a farm behind its own wall has to.

Placeholders are RFC 6570, the times are ISO 8601 or counted since 1970. How a gateway lists texts is common
practice.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, Final
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.app.texts_in import polled_gateway
from service.notifications.polling import TextPolling
from service.settings import TextPollingSettings
from service.storage.database import Database
from tests.support import farmyard
from tests.support.clock import HandClock
from tests.support.databases import sqlite_database
from tests.support.link_farm import OPEN_AT, LinkFarm, dry_house
from tests.support.text_gateway import Answer, PretendGateway, pretend_gateway
from tests.support.watched import minute
from tests.support.written import tally, written

MARIA: Final = "+12025550141"
EVERY_MS: Final = 5 * SECOND_MS


@pytest.fixture
async def database(tmp_path: Path) -> AsyncIterator[Database]:
    async with sqlite_database(tmp_path) as opened:
        yield opened


@pytest.fixture
async def house(database: Database) -> LinkFarm:
    return await dry_house(database)


@pytest.fixture
def gateway() -> Iterator[PretendGateway]:
    with pretend_gateway() as running:
        yield running


@pytest.fixture
def clock() -> HandClock:
    return HandClock(minute(OPEN_AT))


@asynccontextmanager
async def polling(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock, **settings: Any
) -> AsyncIterator[TextPolling]:
    given = {
        "url": gateway.url + "/received{?since}",
        "each": "/messages",
        "time": "/at",
        "time_form": "milliseconds",
        "receipts": {"arrived": "delivered", "lost": "failed"},
        **settings,
    }
    async with httpx.AsyncClient() as client:
        desk = farmyard.desk(house.database, house.farm, clock)
        yield TextPolling(desk=desk, gateway=polled_gateway(TextPollingSettings(**given)), client=client)


def text(name: str, words: str = "7 going", at: float = OPEN_AT + 1, **more: Any) -> dict[str, Any]:
    return {"id": name, "from": MARIA, "text": words, "at": minute(at), **more}


def lists(gateway: PretendGateway, *messages: Any, path: str = "/received", status: int = 200) -> None:
    """From now on the gateway lists these."""
    gateway.lists[path] = Answer(status=status, body=json.dumps({"messages": list(messages)}).encode())


async def again(fetching: TextPolling, clock: HandClock, after_ms: int = EVERY_MS) -> None:
    clock.forward(after_ms)
    await fetching.fetch()


async def results(house: LinkFarm) -> dict[str, str]:
    return {row["inbound_id"]: row["result"] for row in await written(house.database, "inbound")}


async def said(house: LinkFarm) -> str:
    [row] = await written(house.database, "pulses", part="text polling")
    return str(row["detail"])


# --- taking ---------------------------------------------------------------------------------------------------


async def test_a_text_that_is_listed_is_an_answer_and_taken_once(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    async with polling(house, gateway, clock) as fetching:
        lists(gateway)
        await fetching.fetch()
        lists(gateway, text("m-1"))
        for _ in range(3):
            await again(fetching, clock)
    assert await house.words() == [("maria", "going", "text")]
    assert len(await written(house.database, "deliveries", way="text")) == 1


class GoingClock(HandClock):
    """Goes on by a millisecond at every look, as a real one does."""

    def now_ms(self) -> Instant:
        self.at_ms += 1
        return self.at_ms


async def test_texts_are_taken_in_the_order_in_which_they_were_sent(
    house: LinkFarm, gateway: PretendGateway
) -> None:
    """Lists that begin with the newest are common."""
    clock = GoingClock(minute(OPEN_AT))
    async with polling(house, gateway, clock) as fetching:
        lists(gateway)
        await fetching.fetch()
        lists(gateway, text("m-2", "7 cannot", OPEN_AT + 2), text("m-1", "7 going", OPEN_AT + 1))
        await again(fetching, clock, 3 * MINUTE_MS)
    rows = await written(house.database, "answers")
    assert [row["word"] for row in sorted(rows, key=lambda row: row["at_ms"])] == ["going", "cannot"]


async def test_nothing_is_taken_twice_after_a_restart(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    for _ in range(2):
        async with polling(house, gateway, clock) as fetching:
            lists(gateway) if not await results(house) else None
            await again(fetching, clock)
            lists(gateway, text("m-1"))
            await again(fetching, clock)
    assert await house.words() == [("maria", "going", "text")]


async def test_what_was_sent_before_we_began_is_left_alone(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    """The list of a gateway may hold weeks of old answers."""
    for _ in range(2):
        async with polling(house, gateway, clock) as fetching:
            lists(gateway, text("old", at=OPEN_AT - 1), text("new", "7 cannot", OPEN_AT + 1))
            await again(fetching, clock, MINUTE_MS)
    assert await results(house) == {"old": "sent before we began", "new": "cannot"}


async def test_without_times_the_first_list_is_what_was_before_us(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    for _ in range(2):
        async with polling(house, gateway, clock, time=None, since="id") as fetching:
            lists(gateway, text("m-1"))
            await again(fetching, clock)
    async with polling(house, gateway, clock, time=None, since="id") as fetching:
        lists(gateway, text("m-1"), text("m-2", "7 cannot"))
        await again(fetching, clock)
    assert await house.words() == [("maria", "cannot", "text")]


async def test_receipts_are_fetched_too(house: LinkFarm, gateway: PretendGateway, clock: HandClock) -> None:
    async with polling(house, gateway, clock, receipts_url=gateway.url + "/states") as fetching:
        lists(gateway)
        lists(gateway, {"id": "g-1", "status": "arrived"}, {"id": "g-2", "status": "lost"}, path="/states")
        for _ in range(3):
            await again(fetching, clock)
    assert await tally(house.database, "receipts") == 2
    assert await tally(house.database, "receipts: of no text of ours") == 2


# --- asking ---------------------------------------------------------------------------------------------------


def asked_since(gateway: PretendGateway) -> list[str | None]:
    return [parse_qs(urlsplit(one.path).query).get("since", [None])[0] for one in gateway.asked]


@pytest.mark.parametrize(
    ("since", "asked"),
    [
        ("iso 8601", ("2026-11-25T12:24:00Z", "2026-11-25T12:25:00Z")),
        ("seconds", (str(minute(14) // 1000), str(minute(15) // 1000))),
        ("milliseconds", (str(minute(14)), str(minute(15)))),
        ("id", (None, "m-1")),
    ],
)
async def test_what_is_new_is_asked_for(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock, since: str, asked: tuple[str | None, str]
) -> None:
    """Two minutes are asked for again, as texts need not be listed in order. Minute 0 is 12:10 UTC."""
    async with polling(house, gateway, clock, since=since) as fetching:
        lists(gateway)
        await fetching.fetch()
        lists(gateway, text("m-1", at=17))
        await again(fetching, clock)
        await again(fetching, clock)
    async with polling(house, gateway, clock, since=since) as fetching:
        await again(fetching, clock)
    first, then = asked
    assert asked_since(gateway) == [first, first, then, then]


async def test_it_asks_no_more_often_than_it_was_told(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    async with polling(house, gateway, clock, every_s=5) as fetching:
        lists(gateway)
        for _ in range(20):
            await again(fetching, clock, SECOND_MS)
    assert len(gateway.asked) == 4


async def test_keys_go_in_headers_and_redirects_are_not_followed(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    with pretend_gateway() as elsewhere:
        gateway.lists["/received"] = Answer(status=302, headers={"Location": elsewhere.url})
        async with polling(house, gateway, clock, headers={"Authorization": "Bearer 0000"}) as fetching:
            await fetching.fetch()
        assert elsewhere.asked == []
    assert gateway.asked[0].headers["Authorization"] == "Bearer 0000"
    assert await said(house) == "failed once: the gateway answered 302; asking again in 10 s"


# --- when it fails --------------------------------------------------------------------------------------------


async def test_it_asks_less_and_less_often_and_says_so(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    async with polling(house, gateway, clock) as fetching:
        gateway.answer = Answer(status=503)
        rests = []
        for _ in range(9):
            clock.set(max(fetching.next_ms, clock.now_ms()))
            await fetching.fetch()
            rests.append((fetching.next_ms - clock.now_ms()) // SECOND_MS)
        assert rests == [10, 20, 40, 80, 160, 300, 300, 300, 300]
        assert await said(house) == "failed 9 times in a row: the gateway answered 503; asking again in 300 s"

        lists(gateway, text("m-1", at=OPEN_AT + 5))
        await again(fetching, clock, 300 * SECOND_MS)
        assert await said(house) == "took 1"
        assert fetching.next_ms - clock.now_ms() == EVERY_MS
    assert await house.words() == [("maria", "going", "text")]


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (Answer(hang_up=True), "RemoteProtocolError"),
        (Answer(body=b"<html>sign in</html>"), "its answer was not understood"),
        (Answer(body=b'{"other": []}'), "its answer was not understood"),
        (Answer(body=b"x" * 1_100_000), "its answer is too large"),
        (Answer(status=401), "the gateway answered 401"),
        (Answer(body=b'{"messages": []', promised_length=50), "RemoteProtocolError"),
    ],
)
async def test_whatever_the_gateway_does_we_go_on(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock, answer: Answer, why: str
) -> None:
    gateway.answer = answer
    async with polling(house, gateway, clock) as fetching:
        await fetching.fetch()
        assert (await said(house)).startswith(f"failed once: {why}")
        await again(fetching, clock, MINUTE_MS)
        lists(gateway, text("m-1", at=OPEN_AT + 3))
        await again(fetching, clock, 5 * MINUTE_MS)
    assert await house.words() == [("maria", "going", "text")]
    assert len(await written(house.database, "rejected")) <= 1


async def test_a_gateway_that_is_not_there_or_says_nothing_is_not_waited_for(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    async with polling(house, gateway, clock, url="http://127.0.0.1:9/secret-path-1234") as fetching:
        await fetching.fetch()
        assert "ConnectError" in await said(house)
        assert "secret-path-1234" not in await said(house)


async def test_one_message_that_cannot_be_used_is_kept_once(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    async with polling(house, gateway, clock) as fetching:
        lists(gateway)
        await fetching.fetch()
        lists(gateway, {"id": "m-0"}, text("m-1"))
        for _ in range(4):
            await again(fetching, clock)
    assert await house.words() == [("maria", "going", "text")]
    assert [row["reason"] for row in await written(house.database, "rejected")] == ["value missing"]


async def test_a_clock_that_is_set_back_does_not_stop_us(
    house: LinkFarm, gateway: PretendGateway, clock: HandClock
) -> None:
    async with polling(house, gateway, clock) as fetching:
        lists(gateway)
        await fetching.fetch()
        clock.forward(-60 * MINUTE_MS)
        await fetching.fetch()
    assert len(gateway.asked) == 2
