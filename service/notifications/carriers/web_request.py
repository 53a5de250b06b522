"""One web request to a host that the administrator named, and what became of it."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterable
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
from typing import Final

import httpx

from service.notifications.carriers.detail import detail
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable

_MOST_ANSWER_BYTES: Final = 8192
_WAIT_FOR_WORDS_S: Final = 3.0
"""The status was said by then: what was taken must not be sent again because its words come in drops."""
_SECOND_MS: Final = 1000
_LONGEST_WAIT_S: Final = 7 * 24 * 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What became of a request, and the beginning of what was said."""

    outcome: Outcome
    said: str = ""


async def ask(
    client: httpx.AsyncClient, request: httpx.Request, *, timeout_s: float, secrets: Iterable[str]
) -> Answer:
    """Send it once. Redirects are not followed: a message and its key go to that host and no other."""
    hidden = tuple(secrets)
    try:
        async with asyncio.timeout(timeout_s):
            response = await client.send(request, stream=True, follow_redirects=False)
        try:
            said = await _beginning(response)
        finally:
            await response.aclose()
    except TimeoutError:
        return Answer(outcome=Unreachable(detail=f"no answer within {timeout_s:g} s"))
    except (httpx.HTTPError, OSError) as trouble:
        return Answer(outcome=Unreachable(detail=detail(f"{type(trouble).__name__}: {trouble}", hidden)))
    return Answer(outcome=_outcome(response, detail(_words(response, said), hidden)), said=said)


def _words(response: httpx.Response, said: str) -> str:
    return f"{response.status_code} {response.reason_phrase} {said}"


def _outcome(response: httpx.Response, words: str) -> Outcome:
    if response.is_success:
        return Accepted(detail=words)
    return Refused(
        protocol="http",
        status=response.status_code,
        detail=words,
        retry_after_ms=_retry_after_ms(response),
    )


async def _beginning(response: httpx.Response) -> str:
    """The first bytes of the answer. Once the status is known, losing the rest changes nothing."""
    read = b""
    try:
        async with asyncio.timeout(_WAIT_FOR_WORDS_S):
            async for part in response.aiter_bytes():
                read += part
                if len(read) >= _MOST_ANSWER_BYTES:
                    break
    except (httpx.HTTPError, OSError):  # a time-out among them
        pass
    return read[:_MOST_ANSWER_BYTES].decode("utf-8", "replace")


def _retry_after_ms(response: httpx.Response) -> int | None:
    """RFC 9110 section 10.2.3: seconds, or a date, which we read against the answer's own Date."""
    asked = response.headers.get("Retry-After", "").strip()
    if re.fullmatch(r"[0-9]{1,9}", asked):
        return min(int(asked), _LONGEST_WAIT_S) * _SECOND_MS
    try:
        until, sent = parsedate_to_datetime(asked), parsedate_to_datetime(response.headers.get("Date", ""))
        seconds = (until - sent).total_seconds()
    except (TypeError, ValueError):
        return None
    return round(min(max(seconds, 0), _LONGEST_WAIT_S)) * _SECOND_MS
