"""The one place where tests wait: on a condition, never for a time."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable

_PAUSE_S = 0.01


async def until(
    condition: Callable[[], bool | Awaitable[bool]], *, within_s: float, what: str = "", every_s: float = _PAUSE_S
) -> None:
    """Return as soon as ``condition`` holds; raise TimeoutError when it has not within ``within_s``.

    A condition that costs something (a query, a request) is looked at less often, with ``every_s``.
    """
    deadline = _seconds() + within_s
    while True:
        answer = condition()
        if answer if isinstance(answer, bool) else await answer:
            return
        if _seconds() > deadline:
            raise TimeoutError(_complaint(what, within_s))
        await asyncio.sleep(every_s)  # noqa: TID251 - the pause between two looks, not a time to rely on


def until_sync(condition: Callable[[], bool], *, within_s: float, what: str = "") -> None:
    """As ``until``, for tests and helpers that have no event loop."""
    deadline = _seconds() + within_s
    while not condition():
        if _seconds() > deadline:
            raise TimeoutError(_complaint(what, within_s))
        time.sleep(_PAUSE_S)  # noqa: TID251 - the pause between two looks, not a time to rely on


def _complaint(what: str, within_s: float) -> str:
    return f"{what or 'the condition'} did not come true within {within_s:g} s"


def _seconds() -> float:
    return time.monotonic()  # noqa: TID251 - a deadline for real processes needs real time
