from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree as ET

import httpx
import pytest

from service.errors import SetupError
from service.notifications.carriers.cap import NAMESPACE
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused
from service.notifications.carriers.webhook import Receiver, WebhookCarrier, sign
from tests.support.text_gateway import Answer, PretendGateway, pretend_gateway

SECRET = "a long secret, for tests"
MESSAGE = Message(
    to="",
    text="House 7: señal & 78%",
    key="n41-s1-farm-webhook",
    at_ms=1_795_590_061_500,
    kind="trouble",
    facts={
        "room": "House 7",
        "at_ms": 1_795_590_000_000,
        "invented": True,
        "link": "https://x.example/a",
        "phone": "+1",
    },
)


@pytest.fixture
def server() -> Iterator[PretendGateway]:
    with pretend_gateway() as gateway:
        yield gateway


@pytest.fixture
async def client() -> AsyncIterator[httpx.AsyncClient]:
    async with httpx.AsyncClient(trust_env=False) as opened:
        yield opened


async def told(server: PretendGateway, client: httpx.AsyncClient, **changes: Any) -> Outcome:
    receiver = Receiver(url=f"{server.url}/hook-s3cret-path", secret=SECRET, sender="alder-creek")
    return await WebhookCarrier(replace(receiver, **changes), client).carry(MESSAGE)


async def test_a_machine_is_told_in_json(server: PretendGateway, client: httpx.AsyncClient) -> None:
    assert isinstance(await told(server, client), Accepted)
    (asked,) = server.asked
    assert (asked.method, asked.headers["Content-Type"]) == ("POST", "application/json")
    assert json.loads(asked.body) == {
        "id": MESSAGE.key,
        "farm": "alder-creek",
        "kind": "trouble",
        "text": MESSAGE.text,
        "language": "en",
        "at_ms": 1_795_590_000_000,
        "invented": True,
        "facts": {"room": "House 7", "at_ms": 1_795_590_000_000, "invented": True},
    }


async def test_or_in_cap(server: PretendGateway, client: httpx.AsyncClient) -> None:
    assert isinstance(await told(server, client, body="cap"), Accepted)
    (asked,) = server.asked
    assert asked.headers["Content-Type"] == "application/cap+xml"
    root = ET.fromstring(asked.body)
    assert root.findtext(f"{{{NAMESPACE}}}status") == "Exercise"
    assert b"x.example" not in asked.body


@pytest.mark.parametrize("body", ["json", "cap"])
async def test_the_signature_covers_moment_and_body(
    server: PretendGateway, client: httpx.AsyncClient, body: str
) -> None:
    """RFC 2104 by the standard library, as a receiver would do it."""
    await told(server, client, body=body)
    (asked,) = server.asked
    moment = asked.headers["Houseband-Timestamp"]
    expected = hmac.new(SECRET.encode(), f"{moment}.".encode() + asked.body, hashlib.sha256).hexdigest()
    assert moment == "1795590061"
    assert asked.headers["Houseband-Signature"] == f"v1={expected}"
    assert asked.headers["Idempotency-Key"] == MESSAGE.key


# RFC 4231 section 4.3, test case 2, from memory; what we sign has a dot in it, so it is compared a step further.
@pytest.mark.pure
def test_the_signature_is_hmac_sha256() -> None:
    whole = b"what do ya want for nothing?"
    plain = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert hmac.new(b"Jefe", whole, hashlib.sha256).hexdigest() == plain
    assert sign("Jefe", "1", b"x") == "v1=" + hmac.new(b"Jefe", b"1.x", hashlib.sha256).hexdigest()


@pytest.mark.pure
def test_another_body_moment_or_secret_makes_another_signature() -> None:
    made = {sign("s", "1", b"x"), sign("s", "1", b"y"), sign("s", "2", b"x"), sign("t", "1", b"x")}
    assert len(made) == 4


@pytest.mark.parametrize("status", [301, 302, 307, 308])
async def test_nobody_else_is_told(server: PretendGateway, client: httpx.AsyncClient, status: int) -> None:
    server.answer = Answer(status=status, headers={"Location": f"{server.url}/elsewhere"})
    outcome = await told(server, client)
    assert isinstance(outcome, Refused)
    assert (outcome.status, len(server.asked)) == (status, 1)


async def test_secrets_do_not_reach_the_detail(server: PretendGateway, client: httpx.AsyncClient) -> None:
    server.answer = Answer(status=403, body=f"no {SECRET} at hook-s3cret-path".encode())
    outcome = await told(server, client)
    assert SECRET not in outcome.detail
    assert "s3cret" not in outcome.detail
    assert SECRET not in repr(Receiver(url=server.url, secret=SECRET, sender="f"))


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"url": "ftp://example.org/"}, "address"),
        ({"url": "https:///x"}, "address"),
        ({"secret": "short"}, "secret"),
        ({"timeout_s": 0}, "time-out"),
    ],
)
@pytest.mark.pure
def test_a_setting_that_could_only_fail_at_night_is_refused_by_day(changes: dict[str, Any], named: str) -> None:
    with pytest.raises(SetupError, match=named):
        replace(Receiver(url="https://example.org/", secret=SECRET, sender="f"), **changes)
