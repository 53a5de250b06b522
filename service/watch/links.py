"""Answering links: a short address that was given to one person for one happening, and works once.

A token is 24 letters of the URL-safe alphabet (RFC 4648): 64 bits that name a row, and the first 80 bits of an
HMAC-SHA256 over them. The name of the row is itself such an HMAC, over farm, person, happening, telling and end,
so the signature stands for all of these, and a row that was changed no longer answers to its name. What was not
signed with this farm's secret is turned away before the database is asked.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
from dataclasses import dataclass
from typing import Final

from rules.model import Instant
from service.errors import NotAllowed, NotFound
from service.storage import links, machine, people
from service.storage.database import Connection
from service.storage.figures import figures_of
from service.storage.rows import Record
from service.watch import respond
from service.watch.respond import Taken
from service.wire.word import Word

KEPT_AS: Final = "link secret"
LONGEST_TOKEN: Final = 24
OFFERED: Final = (Word.GOING, Word.CANNOT, Word.OUT)
"""What can be answered by a link."""
_ID_BYTES: Final = 8
_PROOF_BYTES: Final = 10
_AFTER: Final = "after/"
"""Begins the origin of a link that was made for somebody who went, and is good for nothing but "out"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A link that was given to somebody."""

    link_id: str
    person_id: str
    happening_id: str
    expires_ms: Instant
    used_ms: Instant | None
    used_for: str | None
    only_out: bool

    def is_old(self, now_ms: Instant) -> bool:
        """Whether its time is over."""
        return now_ms >= self.expires_ms

    def allows(self, word: Word) -> bool:
        """Whether this can be answered with it."""
        return word is Word.OUT if self.only_out else word in OFFERED


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """What came of an answer by link; nothing was taken where the link had been used, or was too old."""

    link: Link
    taken: Taken | None


async def link_secret(connection: Connection, farm_id: int) -> str:
    """The farm's own secret, made at the first question."""
    return await machine.identity(connection, farm_id, KEPT_AS, secrets.token_hex(32))


async def make_link(
    connection: Connection,
    farm_id: int,
    *,
    secret: str,
    person_id: str,
    happening_id: str,
    delivery_id: str,
    now_ms: Instant,
    expires_ms: Instant,
) -> str:
    """Make the link of a telling, and return its token. The same again gives the same token."""
    given = {
        "person_id": person_id,
        "happening_id": happening_id,
        "delivery_id": delivery_id,
        "expires_ms": expires_ms,
    }
    link_id = _link_id(secret, farm_id, given)
    await links.add_link(connection, farm_id, {**given, "link_id": link_id, "made_ms": now_ms})
    return token_of(secret, farm_id, link_id)


def answer_url(public_url: str, token: str) -> str:
    """Where a link leads."""
    return f"{public_url.rstrip('/')}/a/{token}"


def signed_id(secret: str, farm_id: int, token: str) -> str | None:
    """The row that a token names, if we signed it. Takes as long for any token, and asks nobody."""
    link_id = _named(token[: LONGEST_TOKEN + 1])
    # The whole token is compared, so that a second spelling of the same bytes is no token.
    ours = hmac.compare_digest(token.encode(errors="replace"), token_of(secret, farm_id, link_id).encode())
    return link_id if ours else None


async def read_link(connection: Connection, farm_id: int, *, secret: str, link_id: str) -> Link | None:
    """The link of a row whose name was signed; ``None`` when it answers for nobody any more."""
    return await _read(connection, farm_id, secret, link_id, hold=False)


async def answer_by_link(
    connection: Connection, farm_id: int, *, secret: str, link_id: str, word: Word, now_ms: Instant
) -> Answered | None:
    """Take an answer and end the link, in the caller's transaction. Of two at once, the second finds it used.

    Raises:
        NotAllowed: the link is not for this word, or nothing waits for it. Nothing moved.
    """
    link = await _read(connection, farm_id, secret, link_id, hold=True)
    if link is None:
        return None
    if link.used_ms is not None or link.is_old(now_ms):
        return Answered(link=link, taken=None)
    if not link.allows(word):
        raise NotAllowed(f"this link is not for {word.value}")
    taken = await respond.take(
        connection,
        farm_id,
        happening_id=link.happening_id,
        person_id=link.person_id,
        word=word,
        way="link",
        now_ms=now_ms,
    )
    await links.end_link(connection, farm_id, link_id, used_ms=now_ms, used_for=word.value)
    if word is Word.GOING:
        await _make_link_for_out(connection, farm_id, secret, link, now_ms)
    return Answered(link=link, taken=taken)


async def token_for_out(connection: Connection, farm_id: int, *, secret: str, link: Link) -> str | None:
    """The link for "out" that was made when this one was used for "going", while it waits to be used."""
    made = await links.links_of_delivery(connection, farm_id, _AFTER + link.link_id)
    waiting = [row["link_id"] for row in made if row["used_ms"] is None]
    return token_of(secret, farm_id, waiting[0]) if waiting else None


async def _make_link_for_out(
    connection: Connection, farm_id: int, secret: str, link: Link, now_ms: Instant
) -> None:
    figures = await figures_of(connection, farm_id)
    await make_link(
        connection,
        farm_id,
        secret=secret,
        person_id=link.person_id,
        happening_id=link.happening_id,
        delivery_id=_AFTER + link.link_id,
        now_ms=now_ms,
        expires_ms=now_ms + figures.ms("link_hours"),
    )


async def _read(connection: Connection, farm_id: int, secret: str, link_id: str, *, hold: bool) -> Link | None:
    row = await links.link_row(connection, farm_id, link_id, hold=hold)
    if row is None or not hmac.compare_digest(_link_id(secret, farm_id, row), link_id):
        return None
    if not await _may_answer(connection, farm_id, row["person_id"]):
        return None
    return Link(
        link_id=link_id,
        person_id=row["person_id"],
        happening_id=row["happening_id"],
        expires_ms=row["expires_ms"],
        used_ms=row["used_ms"],
        used_for=row["used_for"],
        only_out=row["delivery_id"].startswith(_AFTER),
    )


async def _may_answer(connection: Connection, farm_id: int, person_id: str) -> bool:
    """Somebody who has left the farm answers no more."""
    try:
        return bool((await people.person(connection, farm_id, person_id))["active"])
    except NotFound:
        return False


def _link_id(secret: str, farm_id: int, given: Record) -> str:
    said = [given["person_id"], given["happening_id"], given["delivery_id"], given["expires_ms"]]
    return _hmac(secret, "given", farm_id, *said)[:_ID_BYTES].hex()


def _hmac(secret: str, *said: object) -> bytes:
    return hmac.new(secret.encode(), json.dumps(said).encode(), hashlib.sha256).digest()


def token_of(secret: str, farm_id: int, link_id: str) -> str:
    """The token of a row: its name, signed."""
    proof = _hmac(secret, "link", farm_id, link_id)[:_PROOF_BYTES]
    return base64.urlsafe_b64encode(bytes.fromhex(link_id) + proof).decode()


def _named(token: str) -> str:
    """The row that a token names; of what cannot be a token, a name like any other."""
    try:
        raw = base64.b64decode(token.encode(), altchars=b"-_", validate=True)
    except ValueError:
        raw = b""
    return raw[:_ID_BYTES].ljust(_ID_BYTES, b"\0").hex()
