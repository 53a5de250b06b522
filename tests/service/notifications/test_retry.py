from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model import HOUR_MS, MINUTE_MS, SECOND_MS
from service.notifications.carriers.outcome import Failure, Protocol, Refused, Unreachable
from service.notifications.retry import GiveUp, NextTry, TryAgain, after_failure

pytestmark = pytest.mark.pure

START = 1_000_000
SILENT = Unreachable(detail="no answer within 10 s")


def http(status: int, retry_after_ms: int | None = None) -> Refused:
    return Refused(protocol="http", status=status, detail=f"{status} said no", retry_after_ms=retry_after_ms)


def smtp(status: int) -> Refused:
    return Refused(protocol="smtp", status=status, detail=f"{status} said no")


def after(outcome: Failure, attempt: int = 1, *, now_ms: int = START, use_by_ms: int = START + HOUR_MS) -> NextTry:
    return after_failure(outcome, attempt=attempt, first_try_ms=START, now_ms=now_ms, use_by_ms=use_by_ms)


def test_waits_grow_and_then_stay_at_five_minutes() -> None:
    waits = [after(SILENT, attempt) for attempt in range(1, 8)]
    assert waits == [
        TryAgain(at_ms=START + wait)
        for wait in (
            5 * SECOND_MS,
            15 * SECOND_MS,
            45 * SECOND_MS,
            2 * MINUTE_MS,
            5 * MINUTE_MS,
            5 * MINUTE_MS,
            5 * MINUTE_MS,
        )
    ]


# Meanings of the numbers: RFC 9110 section 15, RFC 6585 (429), RFC 8470 (425), RFC 5321 section 4.2.1.
@pytest.mark.parametrize("status", [408, 409, 425, 429, 500, 502, 503, 504, 599])
def test_what_may_pass_on_the_web_is_tried_again(status: int) -> None:
    assert isinstance(after(http(status), 9), TryAgain)


@pytest.mark.parametrize("status", [301, 302, 307, 308, 400, 402, 404, 405, 410, 413, 415, 418, 422, 451])
def test_what_will_not_pass_on_the_web_ends_it_at_once(status: int) -> None:
    assert after(http(status)) == GiveUp(reason=f"refused: {status} said no")


@pytest.mark.parametrize("outcome", [http(401), http(403), smtp(530), smtp(535)])
def test_a_refused_key_has_one_second_chance(outcome: Refused) -> None:
    assert after(outcome, 1) == TryAgain(at_ms=START + 5 * SECOND_MS)
    assert isinstance(after(outcome, 2), GiveUp)


# From memory: 3GPP TS 24.011 annex E-2, TS 27.005 section 3.2.5, MQTT 5 section 2.4.
@pytest.mark.parametrize(
    ("protocol", "passing", "once", "final"),
    [
        ("at", (38, 41, 42, 314, 331, 332, 500), (310, 311, 316), (1, 10, 28, 30, 50, 304)),
        ("mqtt", (16, 128, 131, 136, 137, 151), (134, 135), (132, 144, 153)),
    ],
)
def test_a_modem_and_a_broker_have_numbers_of_their_own(
    protocol: Protocol, passing: tuple[int, ...], once: tuple[int, ...], final: tuple[int, ...]
) -> None:
    def decided(status: int, attempt: int) -> type[NextTry]:
        return type(after(Refused(protocol=protocol, status=status, detail="no"), attempt))

    assert {decided(status, 9) for status in passing} == {TryAgain}
    assert {(decided(status, 1), decided(status, 2)) for status in once} == {(TryAgain, GiveUp)}
    assert {decided(status, 1) for status in final} == {GiveUp}


def test_mail_numbers_are_read_as_mail_numbers() -> None:
    assert isinstance(after(smtp(451), 4), TryAgain)
    assert isinstance(after(smtp(421)), TryAgain)
    assert isinstance(after(smtp(550)), GiveUp)
    assert isinstance(after(smtp(503)), GiveUp)


def test_a_wish_to_wait_longer_is_honoured_and_a_wish_to_hurry_is_not() -> None:
    assert after(http(429, 7 * MINUTE_MS)) == TryAgain(at_ms=START + 7 * MINUTE_MS)
    assert after(http(503, 1), 4) == TryAgain(at_ms=START + 2 * MINUTE_MS)
    assert after(Unreachable(detail="busy", retry_after_ms=MINUTE_MS)) == TryAgain(at_ms=START + MINUTE_MS)


def test_nobody_waits_for_a_try_that_would_come_too_late() -> None:
    use_by = START + 10 * MINUTE_MS
    assert after(SILENT, 1, use_by_ms=START + 5 * SECOND_MS) == TryAgain(at_ms=START + 5 * SECOND_MS)
    assert after(SILENT, 1, use_by_ms=START + 5 * SECOND_MS - 1) == GiveUp(
        reason="not delivered after 1 try in 0 min: no answer within 10 s"
    )
    assert after(SILENT, 5, now_ms=START + 6 * MINUTE_MS, use_by_ms=use_by) == GiveUp(
        reason="not delivered after 5 tries in 6 min: no answer within 10 s"
    )
    assert isinstance(after(http(429, HOUR_MS), use_by_ms=use_by), GiveUp)


@given(
    st.integers(min_value=100, max_value=599),
    st.sampled_from(get_args(Protocol)),
    st.integers(min_value=-3, max_value=500),
    st.none() | st.integers(min_value=-10, max_value=10**9),
    st.integers(min_value=0, max_value=10**7),
)
def test_a_next_try_is_always_later_and_never_past_its_use_by(
    status: int, protocol: Protocol, attempt: int, wish: int | None, left_ms: int
) -> None:
    outcome = Refused(protocol=protocol, status=status, detail="no", retry_after_ms=wish)
    decided = after(outcome, attempt, use_by_ms=START + left_ms)
    if isinstance(decided, TryAgain):
        assert START + 5 * SECOND_MS <= decided.at_ms <= START + left_ms
