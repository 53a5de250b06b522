"""What every way to tell somebody must do, run over each of them against real servers.

The ways themselves, and how their servers are made to do things, are in ``tests/support/ways_to_tell.py``.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from service.notifications.carriers.outcome import Accepted, Refused, Unreachable
from service.notifications.retry import GiveUp, TryAgain, after_failure
from tests.support.ways_to_tell import SECRET, WAYS, Way

# The wide library loads all its plugins at once, and one of them imports a module that Python 3.13 took away.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


@pytest.fixture
async def client() -> AsyncIterator[httpx.AsyncClient]:
    async with httpx.AsyncClient(trust_env=False) as opened:
        yield opened


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest, client: httpx.AsyncClient, tmp_path: Path) -> Iterator[Way]:
    with ExitStack() as stack:
        yield WAYS[request.param](stack, client, tmp_path)


async def test_a_message_is_accepted_and_received_once(way: Way) -> None:
    outcome = await way.carrier.carry(way.message)
    assert isinstance(outcome, Accepted)
    assert (outcome.refused, len(way.received(1))) == ((), 1)


async def test_both_attempts_at_one_telling_can_be_told_to_be_the_same(way: Way) -> None:
    """By a key, where the way has room for one; else they are the same to the letter."""
    await way.carrier.carry(way.message)
    await way.carrier.carry(replace(way.message, at_ms=way.message.at_ms + 60_000))
    first, second = way.received(2)
    assert first == second


async def test_many_messages_at_once_all_arrive(way: Way) -> None:
    messages = [replace(way.message, key=f"k-{number}", text=f"Text {number}.") for number in range(20)]
    outcomes = await asyncio.gather(*(way.carrier.carry(message) for message in messages))
    assert [outcome for outcome in outcomes if not isinstance(outcome, Accepted)] == []
    assert len(set(way.received(20))) == 20


async def test_a_refusal_for_ever_ends_the_trying(way: Way) -> None:
    if way.refuse_for_ever is None:
        assert not way.says_why  # Such a way cannot tell one no from another, and is tried until it is too late.
        return
    way.refuse_for_ever()
    outcome = await way.carrier.carry(way.message)
    assert isinstance(outcome, Refused)
    # The second, as a refused key has one more chance.
    assert isinstance(after_failure(outcome, attempt=2, first_try_ms=0, now_ms=0, use_by_ms=10**7), GiveUp)


async def test_a_refusal_for_now_is_tried_again(way: Way) -> None:
    way.refuse_for_now()
    outcome = await way.carrier.carry(way.message)
    assert isinstance(outcome, Refused if way.says_why else Unreachable)
    assert isinstance(after_failure(outcome, attempt=1, first_try_ms=0, now_ms=0, use_by_ms=10**7), TryAgain)


async def test_nobody_there_is_unreachable(way: Way) -> None:
    assert isinstance(await way.nobody_there().carry(way.message), Unreachable)


async def test_one_that_says_nothing_is_unreachable_in_time(way: Way) -> None:
    outcome = await way.says_nothing(0.3).carry(way.message)
    assert isinstance(outcome, Unreachable)
    assert re.search(r"no answer within 0\.3 s", outcome.detail)


async def test_one_that_hangs_up_is_unreachable(way: Way) -> None:
    async with way.hangs_up() as carrier:
        assert isinstance(await carrier.carry(way.message), Unreachable)


async def test_cancelling_is_not_swallowed(way: Way) -> None:
    task = asyncio.create_task(way.says_nothing(20).carry(way.message))
    await asyncio.wait([task], timeout=0.05)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


async def test_no_outcome_holds_a_secret_or_more_than_a_line(way: Way) -> None:
    way.refuse_for_now()
    async with way.hangs_up() as hung:
        outcomes = [
            await way.carrier.carry(way.message),
            await way.nobody_there().carry(way.message),
            await hung.carry(way.message),
        ]
    for outcome in outcomes:
        assert SECRET not in outcome.detail
        assert 0 < len(outcome.detail) <= 200
        assert outcome.detail.isprintable()
