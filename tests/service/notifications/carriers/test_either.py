"""The gateway, and the modem when the gateway fails, with real servers behind both."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import httpx
import pytest

from service.notifications.carriers.either import Either
from service.notifications.carriers.message import Message
from service.notifications.carriers.modem import Modem, ModemLine
from service.notifications.carriers.outcome import Accepted, Refused, Unreachable
from service.notifications.carriers.text import TextCarrier, TextGateway
from service.notifications.retry import GiveUp, TryAgain, after_failure
from tests.support.pretend_modem import PretendModem, pretend_modem
from tests.support.text_gateway import Answer, PretendGateway, pretend_gateway

MESSAGE = Message(to="+12025550143", text="House 7: humidity 78%", key="k-1", at_ms=1_795_590_000_000)


@pytest.fixture
def gateway() -> Iterator[PretendGateway]:
    with pretend_gateway() as server:
        yield server


@pytest.fixture
def modem(tmp_path: Path) -> Iterator[PretendModem]:
    with pretend_modem(tmp_path) as pretend:
        yield pretend


@pytest.fixture
async def either(gateway: PretendGateway, modem: PretendModem) -> AsyncIterator[Either]:
    async with httpx.AsyncClient(trust_env=False) as client:
        first = TextCarrier(TextGateway(url=gateway.url, fields={"t": "{text}"}), client)
        yield Either(first, Modem(ModemLine(device=modem.device)))


async def test_the_modem_is_left_alone_while_the_gateway_works(either: Either, modem: PretendModem) -> None:
    outcome = await either.carry(MESSAGE)
    assert isinstance(outcome, Accepted)
    assert (outcome.detail, modem.asked) == ("200 OK", [])


@pytest.mark.parametrize("status", [302, 307, 401, 402, 403, 407, 408, 429, 500, 502, 503, 511])
async def test_a_gateway_that_fails_by_itself_is_mended_by_the_modem_at_once(
    either: Either, gateway: PretendGateway, modem: PretendModem, status: int
) -> None:
    gateway.answer = Answer(status=status)
    outcome = await either.carry(MESSAGE)
    assert isinstance(outcome, Accepted)
    assert outcome.detail.startswith("by modem, signal 17 of 31, text number 1; gateway failed: " + str(status))
    assert (len(gateway.asked), modem.texts) == (1, [(MESSAGE.to, MESSAGE.text)])


async def test_so_is_one_that_gives_no_answer(
    either: Either, gateway: PretendGateway, modem: PretendModem
) -> None:
    gateway.answer = Answer(hang_up=True)
    assert isinstance(await either.carry(MESSAGE), Accepted)
    assert modem.texts == [(MESSAGE.to, MESSAGE.text)]


@pytest.mark.parametrize("status", [400, 404, 409, 410, 422])
async def test_what_is_wrong_with_the_message_is_not_tried_by_modem(
    either: Either, gateway: PretendGateway, modem: PretendModem, status: int
) -> None:
    gateway.answer = Answer(status=status, body=b"no such number")
    outcome = await either.carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert (outcome.status, modem.asked) == (status, [])


async def test_both_failing_is_said_of_both_and_tried_again(
    either: Either, gateway: PretendGateway, modem: PretendModem
) -> None:
    gateway.answer = Answer(status=503)
    modem.card = "+CPIN: SIM PIN"
    outcome = await either.carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert outcome.detail.startswith("gateway: 503 Service Unavailable")
    assert "modem: 311 the SIM card asks for its PIN" in outcome.detail
    assert isinstance(after_failure(outcome, attempt=5, first_try_ms=0, now_ms=0, use_by_ms=10**7), TryAgain)


async def test_a_wrong_key_keeps_nobody_from_a_modem_that_may_work_later(
    either: Either, gateway: PretendGateway, modem: PretendModem
) -> None:
    gateway.answer = Answer(status=401)
    modem.network = "+CREG: 0,2"
    outcome = await either.carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert isinstance(after_failure(outcome, attempt=5, first_try_ms=0, now_ms=0, use_by_ms=10**7), TryAgain)
    modem.pull_out()
    assert isinstance(await either.carry(MESSAGE), Unreachable)


async def test_no_credit_and_a_barred_card_end_the_trying(
    either: Either, gateway: PretendGateway, modem: PretendModem
) -> None:
    gateway.answer = Answer(status=402)
    modem.refusal = "+CMS ERROR: 10"
    outcome = await either.carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert isinstance(after_failure(outcome, attempt=1, first_try_ms=0, now_ms=0, use_by_ms=10**7), GiveUp)
