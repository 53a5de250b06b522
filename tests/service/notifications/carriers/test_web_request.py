"""One request to a host that keeps us waiting."""

from __future__ import annotations

import httpx
import pytest

from service.notifications.carriers import web_request
from service.notifications.carriers.outcome import Accepted, Refused
from service.notifications.carriers.web_request import ask
from tests.support.dribbling_server import dribbling_server


@pytest.mark.parametrize(("status", "came_to"), [("202 Accepted", Accepted), ("503 Later", Refused)])
async def test_what_was_taken_is_not_sent_again_because_its_words_come_in_drops(
    status: str, came_to: type[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_request, "_WAIT_FOR_WORDS_S", 0.2)
    async with dribbling_server(status) as url, httpx.AsyncClient() as client:
        request = client.build_request("POST", url, timeout=2.0)
        answer = await ask(client, request, timeout_s=2.0, secrets=())
    assert isinstance(answer.outcome, came_to)
    assert answer.outcome.detail.startswith(status)
    assert answer.said.startswith(".")
