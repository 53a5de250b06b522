"""Who may reach the pages by which name. Answers of a real application, without a socket."""

from __future__ import annotations

import httpx
import pytest

from service.app.running import make_web

pytestmark = pytest.mark.pure


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:8000", 200),
        ("localhost", 200),
        ("[::1]:8000", 200),
        ("farm.example:8000", 200),
        ("elsewhere.example", 400),
        ("127.0.0.1.elsewhere.example", 400),
    ],
)
async def test_a_page_from_elsewhere_that_renames_this_machine_is_refused(host: str, status: int) -> None:
    """The name in a rebound address is the other site's (DNS rebinding); only names we know are answered."""
    transport = httpx.ASGITransport(app=make_web(["farm.example"]))
    async with httpx.AsyncClient(transport=transport, base_url="http://x") as client:
        answer = await client.get("/static/paper.css", headers={"host": host})
    assert answer.status_code == status
