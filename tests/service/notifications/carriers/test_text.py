from __future__ import annotations

import asyncio
import json
import socket
import threading
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from typing import Any
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest

from service.errors import SetupError
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Refused, Unreachable
from service.notifications.carriers.text import TextCarrier, TextGateway
from tests.support.text_gateway import Answer, PretendGateway, pretend_gateway

MESSAGE = Message(
    to="+12025550143",  # 555-01xx: numbers kept for fiction (North American Numbering Plan, from memory).
    text='House 3: humidity 81% & falling, señal "x" {to}',
    key="n41-s1-p2-text",
    at_ms=1_790_000_000_000,
)


@pytest.fixture
def gateway() -> Iterator[PretendGateway]:
    with pretend_gateway() as server:
        yield server


@pytest.fixture
async def client() -> AsyncIterator[httpx.AsyncClient]:
    async with httpx.AsyncClient(trust_env=False) as opened:
        yield opened


def settings(gateway: PretendGateway, **changes: Any) -> TextGateway:
    plain = TextGateway(
        url=gateway.url + "/send",
        fields={"to": "{to}", "body": "{text}"},
        headers={"Authorization": "Bearer s3cr3t-key"},
    )
    return replace(plain, **changes)


async def test_json_carries_the_text_letter_for_letter(gateway: PretendGateway, client: httpx.AsyncClient) -> None:
    outcome = await TextCarrier(settings(gateway), client).carry(MESSAGE)

    (asked,) = gateway.asked
    assert isinstance(outcome, Accepted)
    assert (asked.method, asked.path) == ("POST", "/send")
    assert json.loads(asked.body) == {"to": MESSAGE.to, "body": MESSAGE.text}
    assert asked.headers["Idempotency-Key"] == MESSAGE.key
    assert asked.headers["Authorization"] == "Bearer s3cr3t-key"


async def test_a_form_carries_the_same(gateway: PretendGateway, client: httpx.AsyncClient) -> None:
    fields = {"n": "{to}", "t": "Farm: {text} ({key})", "fixed": "yes"}
    await TextCarrier(settings(gateway, body="form", method="PUT", fields=fields), client).carry(MESSAGE)

    (asked,) = gateway.asked
    assert asked.method == "PUT"
    assert asked.headers["Content-Type"] == "application/x-www-form-urlencoded"
    assert parse_qs(asked.body.decode()) == {
        "n": [MESSAGE.to],
        "t": [f"Farm: {MESSAGE.text} ({MESSAGE.key})"],
        "fixed": ["yes"],
    }


async def test_an_address_carries_the_same_by_rfc_6570(gateway: PretendGateway, client: httpx.AsyncClient) -> None:
    url = gateway.url + "/send/{to}{?text,key}"
    await TextCarrier(TextGateway(url=url, method="GET", body="none"), client).carry(MESSAGE)

    (asked,) = gateway.asked
    parts = urlsplit(asked.path)
    assert parts.path == "/send/%2B12025550143"
    assert parse_qs(parts.query) == {"text": [MESSAGE.text], "key": [MESSAGE.key]}
    assert asked.body == b""


@pytest.mark.parametrize("status", [400, 401, 404, 429, 500, 503])
async def test_a_refusal_keeps_its_number_and_what_was_said(
    gateway: PretendGateway, client: httpx.AsyncClient, status: int
) -> None:
    gateway.answer = Answer(status=status, body=b"no credit left", headers={"Retry-After": "120"})

    outcome = await TextCarrier(settings(gateway), client).carry(MESSAGE)

    assert isinstance(outcome, Refused)
    assert (outcome.protocol, outcome.status, outcome.retry_after_ms) == ("http", status, 120_000)
    assert outcome.detail.endswith("no credit left")


async def test_a_date_to_wait_for_is_read_against_the_answers_own_date(
    gateway: PretendGateway, client: httpx.AsyncClient
) -> None:
    """RFC 9110 section 10.2.3. The server's own Date comes first, so the pretend one asks for a time long past."""
    gateway.answer = Answer(status=503, headers={"Retry-After": "Fri, 31 Dec 1999 23:59:59 GMT"})
    outcome = await TextCarrier(settings(gateway), client).carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert outcome.retry_after_ms == 0


@pytest.mark.parametrize("asked_wait", ["", "soon", "-5", "1.5", "99999999999999"])
async def test_a_wait_that_makes_no_sense_is_left_out(
    gateway: PretendGateway, client: httpx.AsyncClient, asked_wait: str
) -> None:
    gateway.answer = Answer(status=503, headers={"Retry-After": asked_wait})
    outcome = await TextCarrier(settings(gateway), client).carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert outcome.retry_after_ms is None


async def test_a_redirect_is_not_followed(gateway: PretendGateway, client: httpx.AsyncClient) -> None:
    gateway.answer = Answer(status=307, headers={"Location": gateway.url + "/elsewhere"})
    outcome = await TextCarrier(settings(gateway), client).carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert (outcome.status, len(gateway.asked)) == (307, 1)


async def test_secrets_echoed_by_the_gateway_do_not_reach_the_detail(
    gateway: PretendGateway, client: httpx.AsyncClient
) -> None:
    gateway.answer = Answer(status=401, body=b"bad token s3cr3t-key for account acme-77, see ?apikey=p%40ssw0rd")
    shape = settings(gateway, url=gateway.url + "/acme-77/send?apikey=p%40ssw0rd")

    outcome = await TextCarrier(shape, client).carry(MESSAGE)

    assert outcome.detail.startswith("401 Unauthorized bad token [hidden] for account [hidden]")
    for secret in ("s3cr3t-key", "acme-77", "p%40ssw0rd"):
        assert secret not in outcome.detail
        assert secret not in repr(shape)


@pytest.mark.parametrize(
    ("said", "pointer", "ref"),
    [
        (b'{"messages": [{"id": "m-17"}]}', "/messages/0/id", "m-17"),
        (b'{"id": 4711}', "/id", "4711"),
        (b'"m-18"', "", "m-18"),
        (b'{"id": "m-17"}', None, None),
        (b'{"id": null}', "/id", None),
        (b'{"id": true}', "/id", None),
        (b'{"id": ""}', "/id", None),
        (b'{"id": {"a": 1}}', "/id", None),
        (b'{"other": 1}', "/id", None),
        (b"[1]", "/id", None),
        (b"taken", "/id", None),
        (b"[" * 8000, "/id", None),
    ],
)
async def test_the_gateways_own_id_is_kept_where_it_is(
    gateway: PretendGateway, client: httpx.AsyncClient, said: bytes, pointer: str | None, ref: str | None
) -> None:
    gateway.answer = Answer(status=202, body=said)
    outcome = await TextCarrier(settings(gateway, id_pointer=pointer), client).carry(MESSAGE)
    assert isinstance(outcome, Accepted)
    assert outcome.ref == ref


async def test_no_answer_in_time_is_unreachable(gateway: PretendGateway, client: httpx.AsyncClient) -> None:
    done = threading.Event()
    gateway.answer = Answer(held_until=done)
    outcome = await TextCarrier(settings(gateway, timeout_s=0.05), client).carry(MESSAGE)
    done.set()
    assert outcome == Unreachable(detail="no answer within 0.05 s")


async def test_a_connection_closed_without_a_word_is_unreachable(
    gateway: PretendGateway, client: httpx.AsyncClient
) -> None:
    gateway.answer = Answer(hang_up=True)
    assert isinstance(await TextCarrier(settings(gateway), client).carry(MESSAGE), Unreachable)


async def test_an_answer_that_breaks_off_after_yes_is_still_yes(
    gateway: PretendGateway, client: httpx.AsyncClient
) -> None:
    gateway.answer = Answer(status=202, body=b"take", promised_length=400)
    assert isinstance(await TextCarrier(settings(gateway), client).carry(MESSAGE), Accepted)


async def test_an_endless_answer_is_not_read_to_the_end(
    gateway: PretendGateway, client: httpx.AsyncClient
) -> None:
    gateway.answer = Answer(status=200, body=b"x" * 5_000_000)
    outcome = await TextCarrier(settings(gateway), client).carry(MESSAGE)
    assert isinstance(outcome, Accepted)
    assert len(outcome.detail) == 200


async def test_something_that_does_not_speak_http_is_unreachable(client: httpx.AsyncClient) -> None:
    async def babble(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"220 this is not what you are looking for\r\n")
        writer.close()
        await writer.wait_closed()

    server = await asyncio.start_server(babble, "127.0.0.1", 0)
    async with server:
        port = server.sockets[0].getsockname()[1]
        carrier = TextCarrier(TextGateway(url=f"http://127.0.0.1:{port}/"), client)
        assert isinstance(await carrier.carry(MESSAGE), Unreachable)


async def test_a_host_that_does_not_exist_is_unreachable(client: httpx.AsyncClient) -> None:
    """RFC 2606 keeps .invalid for names that never resolve."""
    carrier = TextCarrier(TextGateway(url="http://gateway.invalid/"), client)
    assert isinstance(await carrier.carry(MESSAGE), Unreachable)


async def test_cancelling_is_not_swallowed(gateway: PretendGateway, client: httpx.AsyncClient) -> None:
    done = threading.Event()
    gateway.answer = Answer(held_until=done)
    task = asyncio.create_task(TextCarrier(settings(gateway), client).carry(MESSAGE))
    while not gateway.asked:
        await asyncio.wait([task], timeout=0.01)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    done.set()


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"url": "ftp://example.org/"}, "address"),
        ({"url": "https:///send"}, "address"),
        ({"url": "https://{to}/send"}, "address"),
        ({"url": "https://example.org:port/"}, "address"),
        ({"url": "https://example.org/{number}"}, "{number}"),
        ({"fields": {"msg": "{message}"}}, "field 'msg'"),
        ({"headers": {"X-Key": "line\nbreak"}}, "header 'X-Key'"),
        ({"headers": {"X Key": "a"}}, "header 'X Key'"),
        ({"body": "none", "fields": {"a": "b"}}, "no body"),
        ({"method": "GET", "body": "json"}, "GET"),
        ({"timeout_s": 0}, "time-out"),
        ({"id_pointer": "messages/0"}, "JSON Pointer"),
        ({"name": "voice gateway", "timeout_s": 0}, "voice gateway"),
    ],
)
@pytest.mark.pure
def test_a_setting_that_could_only_fail_at_night_is_refused_by_day(changes: dict[str, Any], named: str) -> None:
    with pytest.raises(SetupError) as refused:
        replace(TextGateway(url="https://example.org/send"), **changes)
    assert named in str(refused.value)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


async def test_nobody_listening_is_unreachable(client: httpx.AsyncClient) -> None:
    carrier = TextCarrier(TextGateway(url=f"http://127.0.0.1:{free_port()}/"), client)
    assert isinstance(await carrier.carry(MESSAGE), Unreachable)
