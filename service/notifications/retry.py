"""What follows a failed attempt to tell somebody: when to try again, or why to stop.

A text about a wet night is worth nothing the next noon, so trying ends at the telling's use-by. It also ends as
soon as trying cannot help: every minute spent on a gateway that says "no such number" is a minute in which the
next person was not told.

Tried again, later each time: no answer at all; HTTP 408, 409, 425, 429 and 5xx; SMTP 4xx; of a modem what the
network or a busy card causes; of a broker what it calls busy, full or unspecified, and that nobody listens. (409
is how receivers that know idempotency keys say "the first attempt is still under way".) Given one second chance:
HTTP 401 and 403, SMTP 530 and 535, a modem's missing or locked card, a broker's refused password, because account
databases do blink, but a wrong key does not turn right by morning and the administrator has to see it. Everything
else, redirects among it, is final.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.notifications.carriers.outcome import Failure, Refused

_WAITS_MS: Final = (5 * SECOND_MS, 15 * SECOND_MS, 45 * SECOND_MS, 2 * MINUTE_MS)
_LAST_WAIT_MS: Final = 5 * MINUTE_MS

_PASSING: Final = {
    "http": frozenset({408, 409, 425, 429, *range(500, 600)}),
    "smtp": frozenset(range(400, 500)),
    # 3GPP TS 24.011 annex E-2 (up to 127), TS 23.040 section 9.2.3.22 (up to 255), TS 27.005 section 3.2.5.
    "at": frozenset(
        {22, 27, 38, 41, 42, 47, 192, 208, 211, 213, 255, 300, 301, 313, 314, 320, 322, 331, 332, 500}
    ),
    # MQTT 5 section 2.4: nobody listens, unspecified, by the server's own reasons, away, busy, quota.
    "mqtt": frozenset({16, 128, 131, 136, 137, 151}),
}
_SECOND_CHANCE: Final = {
    "http": frozenset({401, 403}),
    "smtp": frozenset({530, 535}),
    "at": frozenset({310, 311, 312, 315, 316, 317, 318}),
    "mqtt": frozenset({134, 135}),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TryAgain:
    """Hand the same message over again at this moment, under the same key."""

    at_ms: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class GiveUp:
    """Stop, and show why where people look."""

    reason: str


NextTry: TypeAlias = TryAgain | GiveUp


def after_failure(
    outcome: Failure, *, attempt: int, first_try_ms: Instant, now_ms: Instant, use_by_ms: Instant
) -> NextTry:
    """Decide after the ``attempt``-th try (the first is 1) ended in ``outcome`` at ``now_ms``.

    A wish of the receiver to wait longer is honoured. A next try that would come after ``use_by_ms`` is not
    waited for: the reason is given now, while somebody else can still be told.
    """
    if not _may_pass(outcome, attempt):
        return GiveUp(reason=f"refused: {outcome.detail}")
    at_ms = now_ms + max(_wait_ms(attempt), outcome.retry_after_ms or 0)
    if at_ms <= use_by_ms:
        return TryAgain(at_ms=at_ms)
    tries = "1 try" if attempt == 1 else f"{attempt} tries"
    minutes = max(now_ms - first_try_ms, 0) // MINUTE_MS
    return GiveUp(reason=f"not delivered after {tries} in {minutes} min: {outcome.detail}")


def _may_pass(outcome: Failure, attempt: int) -> bool:
    if not isinstance(outcome, Refused):
        return True
    if outcome.status in _SECOND_CHANCE[outcome.protocol]:
        return attempt <= 1
    return outcome.status in _PASSING[outcome.protocol]


def _wait_ms(attempt: int) -> int:
    place = max(attempt, 1) - 1
    return _WAITS_MS[place] if place < len(_WAITS_MS) else _LAST_WAIT_MS
