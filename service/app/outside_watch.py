"""A call every few minutes to an address off the farm: when the calls stop, somebody there notices that we did.

We call only while we truly do our work. What is called, and what it does when nothing comes, is the farm's choice;
the address may hold a secret and is never written down, nor is more of an answer than its status.
"""

from __future__ import annotations

import asyncio
from contextlib import AsyncExitStack
from dataclasses import dataclass, field
from typing import Final

import httpx

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.errors import PassingError
from service.log import log
from service.settings import Settings
from service.storage import machine
from service.watch.alive import OUTSIDE, OUTSIDE_ANSWERED, why_not_alive
from service.watch.desk import Desk

CALL_EVERY_MS: Final = 5 * MINUTE_MS
"""The far end should speak after twice that without a call."""
AGAIN_MS: Final = MINUTE_MS
"""After a call that failed, and between two notes that we do not call."""
LOOK_AGAIN_MS: Final = 15 * SECOND_MS
"""While we do not do our work."""
TIMEOUT_S: Final = 10.0


@dataclass(slots=True, kw_only=True)
class OutsideWatch:
    """Calls, while we are alive."""

    desk: Desk
    url: str | None = field(repr=False)
    client: httpx.AsyncClient
    _next_ms: Instant = 0
    _noted: tuple[Instant, str] = (0, "")

    async def all_due(self) -> None:
        """Call if it is time, and if we do our work."""
        now_ms = self.desk.clock.now_ms()
        # A clock that was set back must not keep us silent until it has come round again.
        if self.url is None or 0 < self._next_ms - now_ms <= CALL_EVERY_MS:
            return
        why_not = await self._why_not()
        if why_not:
            self._next_ms = now_ms + LOOK_AGAIN_MS
            await self._note(now_ms, f"not called: {', '.join(why_not)}")
            return
        result, was_answered = await self._call(self.url)
        self._next_ms = now_ms + (CALL_EVERY_MS if was_answered else AGAIN_MS)
        if not was_answered:
            log.warning("outside watch not reached", result=result)
        await self._note(now_ms, result, answered=was_answered)

    async def _why_not(self) -> tuple[str, ...]:
        try:
            return await why_not_alive(self.desk)
        except PassingError:
            return ("the database cannot be written",)

    async def _call(self, url: str) -> tuple[str, bool]:
        """What came of a call, in words without the address."""
        try:
            async with (
                asyncio.timeout(TIMEOUT_S),
                self.client.stream("GET", url, timeout=TIMEOUT_S, follow_redirects=False) as answer,
            ):
                return f"answered {answer.status_code}", answer.is_success  # whatever else it says is not read
        except TimeoutError:
            return f"no answer within {TIMEOUT_S:g} s", False
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            return type(error).__name__, False

    async def _note(self, now_ms: Instant, result: str, *, answered: bool = False) -> None:
        """Write down what came of it; the same again only now and then."""
        if result == self._noted[1] and 0 <= now_ms - self._noted[0] < AGAIN_MS:
            return
        self._noted = (now_ms, result)
        async with self.desk.database.write() as connection:
            farm_id = self.desk.farm_id
            await machine.beat(connection, farm_id, OUTSIDE, now_ms, result)
            if answered:
                await machine.beat(connection, farm_id, OUTSIDE_ANSWERED, now_ms, "")


async def outside_watch(settings: Settings, desk: Desk, stack: AsyncExitStack) -> OutsideWatch:
    """The outside watch of one running service; without an address it does nothing."""
    url = settings.outside_watch_url
    return OutsideWatch(
        desk=desk,
        url=None if url is None else url.get_secret_value(),
        client=await stack.enter_async_context(httpx.AsyncClient()),
    )
