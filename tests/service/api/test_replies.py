"""Texts that came in, as the API shows them."""

from __future__ import annotations

from typing import Any

from service.watch.replies import Reply, take_reply
from tests.support import farmyard
from tests.support.api import Api
from tests.support.replying import BEN, STRANGER


async def comes(api: Api, text: str, *, phone: str, number: int) -> None:
    given: dict[str, Any] = {"way": "text", "person_id": None, "received_ms": farmyard.NOW_MS + number}
    await take_reply(api.desk, Reply(**given, phone=phone, text=text, inbound_id=f"in-{number}"))


async def test_texts_are_shown_with_what_they_came_to_newest_first(api: Api) -> None:
    api.clock.forward(1000)
    await comes(api, "status", phone=BEN, number=1)
    await comes(api, "is this the tow truck", phone=STRANGER, number=2)
    shown = await api.get("/api/inbound")
    assert [(row["phone"], row["person"], row["word"], row["result"]) for row in shown["rows"]] == [
        (STRANGER, None, None, "nobody's number"),
        (BEN, "Ben", "status", "status"),
    ]
    assert shown["rows"][0]["text"] == "is this the tow truck"
    assert shown["more"] is False


async def test_numbers_that_are_nobodys_can_be_asked_for_alone(one_api: Api) -> None:
    one_api.clock.forward(1000)
    await comes(one_api, "status", phone=BEN, number=1)
    await comes(one_api, "hello", phone=STRANGER, number=2)
    assert [row["phone"] for row in (await one_api.get("/api/inbound", unknown="true"))["rows"]] == [STRANGER]
    assert [row["phone"] for row in (await one_api.get("/api/inbound", unknown="false"))["rows"]] == [BEN]


async def test_a_long_list_is_cut_and_says_so(one_api: Api) -> None:
    one_api.clock.forward(1000)
    for number in range(3):
        await comes(one_api, "hello", phone=STRANGER, number=number)
    shown = await one_api.get("/api/inbound", limit=2)
    assert (len(shown["rows"]), shown["more"]) == (2, True)
