"""Fetching answers from the text gateway, for a farm computer that nobody outside can call.

What was fetched before is not taken again, whatever the gateway lists. What was sent before we began is left
alone: it answered something else. When fetching fails we ask less and less often, at last every five minutes.
"""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final, Literal
from urllib.parse import urlsplit

import httpx
import uritemplate

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.log import log
from service.messages import Rejected
from service.notifications.carriers.detail import detail
from service.storage import inbound, machine
from service.watch.desk import Desk
from service.watch.texts_in import RECEIPTS, TEXTS, keep_rejected, note_receipts, take_text
from service.wire.text_hook import Came, Places, TextCame, read_receipts, read_texts

PULSE: Final = "text polling"
KEPT_AS: Final = "text polling"
LONGEST_REST_S: Final = 300.0
_OVERLAP_MS: Final = 2 * MINUTE_MS
"""Asked for again each time: a gateway need not list texts in the order in which it got them."""
_BEAT_EVERY_MS: Final = 30 * SECOND_MS
_MOST_BYTES: Final = 1_048_576
_REMEMBERED: Final = 5000


class FetchError(Exception):
    """Nothing could be fetched; the message says why, without secrets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PolledGateway:
    """How texts are fetched. What may hold a secret is kept out of ``repr``."""

    url: str = field(repr=False)
    receipts_url: str | None = field(default=None, repr=False)
    headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    places: Places = field(default_factory=Places)
    since: Literal["iso 8601", "seconds", "milliseconds", "id"] = "iso 8601"
    every_s: float = 5.0
    timeout_s: float = 10.0

    @property
    def secrets(self) -> tuple[str, ...]:
        """What an error message must not repeat."""
        parts = [re.split(r"[/&=?{}@:]", urlsplit(u).path + "&" + urlsplit(u).query) for u in self._urls]
        return (*self.headers.values(), *(word for words in parts for word in words))

    @property
    def _urls(self) -> list[str]:
        return [url for url in (self.url, self.receipts_url) if url is not None]


@dataclass(slots=True, kw_only=True)
class _Cursor:
    """How far we have come; kept in the database."""

    began_ms: Instant
    newest_ms: Instant | None = None
    newest_id: str | None = None

    def written(self) -> str:
        return json.dumps({"began_ms": self.began_ms, "newest_ms": self.newest_ms, "newest_id": self.newest_id})


@dataclass(slots=True, kw_only=True)
class TextPolling:
    """Fetches with a client that the caller opens and closes."""

    desk: Desk
    gateway: PolledGateway
    client: httpx.AsyncClient
    failures: int = 0
    next_ms: Instant = 0
    _seen: dict[str, None] = field(default_factory=dict)
    _cursor: _Cursor | None = None
    _said: str = ""
    _said_ms: Instant = 0

    async def fetch(self) -> None:
        """Fetch once, if it is time.

        Raises:
            PassingError: our database cannot be used just now; the gateway keeps what it has.
        """
        now_ms = self.desk.clock.now_ms()
        if now_ms < self.next_ms <= now_ms + self._wall_ms(LONGEST_REST_S):
            return
        try:
            count = await self._fetch_texts(now_ms) + await self._fetch_receipts()
        except FetchError as error:
            await self._failed(str(error), now_ms)
            return
        self.failures = 0
        self.next_ms = now_ms + self._wall_ms(self.gateway.every_s)
        await self._say(f"took {count}" if count else "nothing new", now_ms, aloud=bool(count))

    async def _failed(self, why: str, now_ms: Instant) -> None:
        self.failures += 1
        rest_s = min(self.gateway.every_s * 2.0 ** min(self.failures, 16), LONGEST_REST_S)
        self.next_ms = now_ms + self._wall_ms(rest_s)
        log.warning("texts could not be fetched", failures=self.failures, cause=why)
        times = "once" if self.failures == 1 else f"{self.failures} times in a row"
        await self._say(f"failed {times}: {why}; asking again in {rest_s:.0f} s", now_ms, aloud=True)

    async def _fetch_texts(self, now_ms: Instant) -> int:
        cursor, is_first = await self._read_cursor(now_ms)
        body = await self._ask(self.gateway.url, self._since(cursor))
        came = read_texts(body, self.gateway.places, received_ms=now_ms)
        await self._keep(TEXTS, body, came)
        new = [text for text in came.texts if text.inbound_id not in self._seen]
        taken = 0
        for text in sorted(new, key=lambda text: text.sent_ms or now_ms):
            if _is_from_before(text, cursor, is_first=is_first):
                await self._leave(text, now_ms)
            else:
                why = await take_text(self.desk, text, now_ms, way="text")
                await keep_rejected(self.desk, TEXTS, body, () if why is None else (why,))
                taken += why is None
            self._remember(text.inbound_id)
            _advance(cursor, text)
        if new or is_first:
            await self._write_cursor(cursor)
        return taken

    async def _fetch_receipts(self) -> int:
        if self.gateway.receipts_url is None:
            return 0
        cursor, _ = await self._read_cursor(self.desk.clock.now_ms())
        body = await self._ask(self.gateway.receipts_url, self._since(cursor))
        came = read_receipts(body, self.gateway.places)
        await self._keep(RECEIPTS, body, came)
        names = {f"receipt {one.gateway_ref} {one.receipt}": one for one in came.receipts}
        new = {name: one for name, one in names.items() if name not in self._seen}
        if new:
            async with self.desk.database.write() as connection:
                now_ms = self.desk.clock.now_ms()
                await note_receipts(connection, self.desk.farm_id, list(new.values()), now_ms)
        for name in new:
            self._remember(name)
        return len(new)

    async def _ask(self, url: str, since: str | None) -> bytes:
        """The body at an address. Redirects are not followed: our key goes to the host that was named."""
        gateway = self.gateway
        try:
            async with asyncio.timeout(gateway.timeout_s):
                request = self.client.build_request(
                    "GET", uritemplate.expand(url, since=since), headers=gateway.headers, timeout=gateway.timeout_s
                )
                response = await self.client.send(request, stream=True, follow_redirects=False)
                try:
                    if not response.is_success:
                        raise FetchError(f"the gateway answered {response.status_code}")
                    return await _bounded(response)
                finally:
                    await response.aclose()
        except TimeoutError:
            raise FetchError(f"no answer within {gateway.timeout_s:g} s") from None
        except (httpx.HTTPError, httpx.InvalidURL, OSError) as trouble:
            raise FetchError(detail(f"{type(trouble).__name__}: {trouble}", gateway.secrets)) from None

    def _since(self, cursor: _Cursor) -> str | None:
        """What ``{since}`` stands for; RFC 6570 leaves out what is not known."""
        if self.gateway.since == "id":
            return cursor.newest_id
        at_ms = max((cursor.newest_ms or cursor.began_ms) - _OVERLAP_MS, 0)
        if self.gateway.since == "iso 8601":
            return datetime.fromtimestamp(at_ms // SECOND_MS, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        return str(at_ms // SECOND_MS if self.gateway.since == "seconds" else at_ms)

    async def _keep(self, where: str, body: bytes, came: Came) -> None:
        """Keep what could not be used, once each.

        Raises:
            FetchError: nothing at all was understood: that is not how the gateway's list looks.
        """
        new = {f"{where} {why.reason} {why.detail}": why for why in came.rejected}
        unseen: list[Rejected] = [why for name, why in new.items() if name not in self._seen]
        await keep_rejected(self.desk, where, body, tuple(unseen))
        for name in new:
            self._remember(name)
        if came.rejected and not came.texts and not came.receipts:
            raise FetchError(f"its answer was not understood: {came.rejected[0].detail}")

    async def _leave(self, text: TextCame, now_ms: Instant) -> None:
        """Write down that a text was seen, and that nothing was done about it."""
        row = {"inbound_id": text.inbound_id, "way": "text", "phone": text.phone, "text": text.text}
        seen = {**row, "received_ms": now_ms, "result": "sent before we began"}
        async with self.desk.database.write() as connection:
            await inbound.add_inbound(connection, self.desk.farm_id, seen)

    async def _read_cursor(self, now_ms: Instant) -> tuple[_Cursor, bool]:
        if self._cursor is not None:
            return self._cursor, False
        fresh = _Cursor(began_ms=now_ms)
        async with self.desk.database.read() as connection:
            kept = await machine.remembered(connection, self.desk.farm_id, KEPT_AS)
        self._cursor = fresh if kept is None else _Cursor(**json.loads(kept))
        return self._cursor, kept is None

    async def _write_cursor(self, cursor: _Cursor) -> None:
        async with self.desk.database.write() as connection:
            await machine.remember(connection, self.desk.farm_id, KEPT_AS, cursor.written())

    async def _say(self, words: str, now_ms: Instant, *, aloud: bool) -> None:
        """Say how it goes, where the state of the service is shown; not at every turn."""
        if not aloud and words == self._said and 0 <= now_ms - self._said_ms < _BEAT_EVERY_MS:
            return
        self._said, self._said_ms = words, now_ms
        async with self.desk.database.write() as connection:
            await machine.beat(connection, self.desk.farm_id, PULSE, now_ms, words)

    def _remember(self, name: str) -> None:
        self._seen[name] = None
        while len(self._seen) > _REMEMBERED:
            self._seen.pop(next(iter(self._seen)))

    def _wall_ms(self, seconds: float) -> int:
        """So long by the wall, on a farm clock that may run faster."""
        return round(seconds * SECOND_MS * self.desk.clock.factor)


def _is_from_before(text: TextCame, cursor: _Cursor, *, is_first: bool) -> bool:
    """Whether a text was sent before we began; without a time, whatever the first list holds was."""
    return is_first if text.sent_ms is None else text.sent_ms < cursor.began_ms


def _advance(cursor: _Cursor, text: TextCame) -> None:
    cursor.newest_id = text.inbound_id
    if text.sent_ms is not None:
        cursor.newest_ms = max(text.sent_ms, cursor.newest_ms or 0)


async def _bounded(response: httpx.Response) -> bytes:
    body = b""
    async for part in response.aiter_bytes():
        body += part
        if len(body) > _MOST_BYTES:
            raise FetchError("its answer is too large")
    return body
