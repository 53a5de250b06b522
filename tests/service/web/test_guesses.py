"""Slowing down whoever guesses: how many, for how long, and in how little memory (figures are judgement)."""

from __future__ import annotations

import pytest

from rules.model import MINUTE_MS
from service.web.guesses import MOST, REST_MS, Guesses

pytestmark = pytest.mark.pure

NOON = 1_795_608_000_000


def tries(guesses: Guesses, count: int, at_ms: int) -> list[bool]:
    return [guesses.is_too_many(at_ms) for _ in range(count)]


def test_thirty_in_a_minute_are_let_pass_and_the_next_is_not() -> None:
    assert tries(Guesses(), MOST + 1, NOON) == [False] * MOST + [True]


def test_a_few_in_every_minute_are_never_too_many() -> None:
    guesses = Guesses()
    assert not any(any(tries(guesses, MOST, NOON + n * MINUTE_MS)) for n in range(10))


def test_the_rest_ends_by_itself_and_is_not_made_longer_by_trying_on() -> None:
    guesses = Guesses()
    tries(guesses, MOST + 1, NOON)
    assert all(guesses.is_too_many(NOON + n) for n in range(0, REST_MS, 10_000))
    assert not guesses.is_too_many(NOON + REST_MS)


def test_a_clock_that_is_set_back_ends_the_rest() -> None:
    guesses = Guesses()
    tries(guesses, MOST + 1, NOON)
    assert not guesses.is_too_many(NOON - 3600_000)
