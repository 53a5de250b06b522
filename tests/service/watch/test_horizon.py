"""How far judging may go while we may have been deaf. The rule is the project's own."""

from __future__ import annotations

import pytest

from service.watch.horizon import MARKER_WAIT_MS, Horizon
from tests.support.rooms import minute

pytestmark = pytest.mark.pure


def test_while_we_listen_everything_up_to_now_may_be_judged() -> None:
    horizon = Horizon()
    assert horizon.is_listening
    assert horizon.limit_ms(minute(5)) == minute(5)


def test_after_a_start_nothing_is_judged_beyond_what_was_until_the_marker_is_back() -> None:
    horizon = Horizon()
    horizon.start_deaf(minute(0))
    assert (horizon.is_listening, horizon.limit_ms(minute(60))) == (False, minute(0))
    horizon.connected(minute(60))
    assert horizon.limit_ms(minute(60.5)) == minute(0)
    horizon.caught_up()
    assert (horizon.is_listening, horizon.limit_ms(minute(61))) == (True, minute(61))


def test_while_the_broker_is_away_judging_stands_still() -> None:
    horizon = Horizon()
    horizon.lost(minute(10))
    horizon.lost(minute(12))
    assert horizon.limit_ms(minute(9)) == minute(9)
    assert horizon.limit_ms(minute(500)) == minute(10), "what came before the first loss is known"


def test_a_marker_that_does_not_come_back_is_given_up() -> None:
    horizon = Horizon()
    horizon.lost(minute(10))
    horizon.connected(minute(20))
    assert horizon.limit_ms(minute(20) + MARKER_WAIT_MS - 1) == minute(10)
    assert horizon.limit_ms(minute(20) + MARKER_WAIT_MS) == minute(20) + MARKER_WAIT_MS


def test_a_connection_lost_before_its_marker_is_back_begins_the_wait_anew() -> None:
    horizon = Horizon()
    horizon.lost(minute(10))
    horizon.connected(minute(20))
    horizon.lost(minute(21))
    assert horizon.limit_ms(minute(60)) == minute(10)
    horizon.connected(minute(60))
    assert horizon.limit_ms(minute(61)) == minute(10)


def test_a_farm_without_a_broker_has_nothing_to_wait_for() -> None:
    horizon = Horizon(listens=False)
    horizon.start_deaf(minute(0))
    assert (horizon.is_listening, horizon.limit_ms(minute(60))) == (True, minute(60))
