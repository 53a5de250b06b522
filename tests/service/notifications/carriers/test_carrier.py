"""What every way to tell somebody must do, run over each of them against real servers."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace

import httpx
import pytest

from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.carriers.message import Carrier, Message
from service.notifications.carriers.outcome import Accepted, Refused, Unreachable
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.notifications.retry import GiveUp, TryAgain, after_failure
from tests.support.mail_server import mail_server
from tests.support.text_gateway import Answer, pretend_gateway

MESSAGE = Message(
    to="", text="House 3: humidity 81%.\nSecond line.", key="k-1", at_ms=1_795_590_000_000, subject="Night"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One carrier with the server behind it, and how to make that server do things."""

    carrier: Carrier
    message: Message
    received: Callable[[], list[str]]
    refuse_for_ever: Callable[[], None]
    refuse_for_now: Callable[[], None]
    at_port: Callable[[int, float], Carrier]
    """The same carrier towards another port, with a time-out in seconds."""


@pytest.fixture
async def client() -> AsyncIterator[httpx.AsyncClient]:
    async with httpx.AsyncClient(trust_env=False) as opened:
        yield opened


def text_way(stack: ExitStack, client: httpx.AsyncClient) -> Way:
    server = stack.enter_context(pretend_gateway())

    def refuse(status: int) -> None:
        server.answer = Answer(status=status)

    def at_port(port: int, timeout_s: float) -> Carrier:
        shape = TextGateway(
            url=f"http://127.0.0.1:{port}/", body="form", fields={"t": "{text}"}, timeout_s=timeout_s
        )
        return TextCarrier(shape, client)

    return Way(
        carrier=at_port(server.server_address[1], 20),
        message=replace(MESSAGE, to="+12025550143"),
        received=lambda: [asked.headers["Idempotency-Key"] for asked in server.asked],
        refuse_for_ever=lambda: refuse(410),
        refuse_for_now=lambda: refuse(503),
        at_port=at_port,
    )


def mail_way(stack: ExitStack, _client: httpx.AsyncClient) -> Way:
    box = stack.enter_context(mail_server())

    def refuse(answer: str) -> None:
        box.answer = answer

    def at_port(port: int, timeout_s: float) -> Carrier:
        return MailCarrier(
            MailServer(host="127.0.0.1", port=port, sender="f@example.org", security="none", timeout_s=timeout_s)
        )

    return Way(
        carrier=at_port(box.port, 20),
        message=replace(MESSAGE, to="ines@example.org"),
        received=lambda: [letter["Message-ID"] for letter in box.letters],
        refuse_for_ever=lambda: refuse("554 5.7.1 no"),
        refuse_for_now=lambda: refuse("451 4.3.0 later"),
        at_port=at_port,
    )


@pytest.fixture(params=[text_way, mail_way], ids=["text", "mail"])
def way(request: pytest.FixtureRequest, client: httpx.AsyncClient) -> Iterator[Way]:
    with ExitStack() as stack:
        yield request.param(stack, client)


async def test_a_message_is_accepted_and_received_once(way: Way) -> None:
    outcome = await way.carrier.carry(way.message)
    assert isinstance(outcome, Accepted)
    assert (outcome.refused, len(way.received())) == ((), 1)


async def test_both_attempts_at_one_telling_can_be_told_to_be_the_same(way: Way) -> None:
    await way.carrier.carry(way.message)
    await way.carrier.carry(replace(way.message, at_ms=way.message.at_ms + 60_000))
    first, second = way.received()
    assert first == second


async def test_many_messages_at_once_all_arrive(way: Way) -> None:
    messages = [replace(way.message, key=f"k-{number}") for number in range(20)]
    outcomes = await asyncio.gather(*(way.carrier.carry(message) for message in messages))
    assert all(isinstance(outcome, Accepted) for outcome in outcomes)
    assert len(set(way.received())) == 20


async def test_a_refusal_for_ever_ends_the_trying(way: Way) -> None:
    way.refuse_for_ever()
    outcome = await way.carrier.carry(way.message)
    assert isinstance(outcome, Refused)
    assert isinstance(after_failure(outcome, attempt=1, first_try_ms=0, now_ms=0, use_by_ms=10**7), GiveUp)


async def test_a_refusal_for_now_is_tried_again(way: Way) -> None:
    way.refuse_for_now()
    outcome = await way.carrier.carry(way.message)
    assert isinstance(outcome, Refused)
    assert isinstance(after_failure(outcome, attempt=1, first_try_ms=0, now_ms=0, use_by_ms=10**7), TryAgain)


async def test_nobody_listening_is_unreachable(way: Way) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    assert isinstance(await way.at_port(port, 20).carry(way.message), Unreachable)


async def test_a_server_that_says_nothing_is_unreachable_in_time(way: Way) -> None:
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        outcome = await way.at_port(silent.getsockname()[1], 0.1).carry(way.message)
    assert isinstance(outcome, Unreachable)


async def test_a_server_that_hangs_up_is_unreachable(way: Way) -> None:
    async def hang_up(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.close()
        await writer.wait_closed()

    server = await asyncio.start_server(hang_up, "127.0.0.1", 0)
    async with server:
        outcome = await way.at_port(server.sockets[0].getsockname()[1], 20).carry(way.message)
    assert isinstance(outcome, Unreachable)
