"""How a gateway proves that a message is its own: a signature, a shared secret, or at last a password.

Nothing is looked for in the address, which stands in the logs of everything on the way. All comparing takes as
long for a near miss as for any other.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
from dataclasses import dataclass, field
from typing import Final, Literal, Protocol

from starlette.datastructures import Headers

from rules.model import SECOND_MS, Instant

_FROM_HERE_MILLISECONDS: Final = 100_000_000_000
"""So many seconds are the year 5138, so many milliseconds the year 1973."""


class Proof(Protocol):
    """A way to prove it."""

    @property
    def asks_for(self) -> str:
        """What RFC 9110 section 11.6.1 wants said to whoever did not prove it."""
        ...

    def why_not(self, headers: Headers, body: bytes, now_ms: Instant) -> str | None:
        """Why a message is not proven; ``None`` when it is."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """HMAC-SHA256 (RFC 2104) over the body, or over a time, a full stop and the body."""

    secret: bytes = field(repr=False)
    header: str
    encoding: Literal["hex", "base64"] = "hex"
    prefix: str = ""
    """What stands before the signature, such as ``sha256=``."""
    time_header: str | None = None
    tolerance_ms: int = 300 * SECOND_MS
    asks_for: str = "Signature"

    def why_not(self, headers: Headers, body: bytes, now_ms: Instant) -> str | None:
        said = _only(headers, self.header)
        if said is None:
            return "no signature"
        signed = body
        if self.time_header is not None:
            time = _only(headers, self.time_header) or ""
            if not self._is_now(time, now_ms):
                return "too old or from the future"
            signed = time.encode() + b"." + body
        ours = self.prefix + self._written(hmac.new(self.secret, signed, hashlib.sha256).digest())
        theirs = said.strip()
        if self.encoding == "hex":
            theirs = theirs[: len(self.prefix)] + theirs[len(self.prefix) :].lower()
        return None if _same(theirs, ours) else "signature does not match"

    def _written(self, digest: bytes) -> str:
        return digest.hex() if self.encoding == "hex" else base64.b64encode(digest).decode()

    def _is_now(self, said: str, now_ms: Instant) -> bool:
        if not re.fullmatch(r"[0-9]{1,15}", said):
            return False
        number = int(said)
        at_ms = number if number >= _FROM_HERE_MILLISECONDS else number * SECOND_MS
        return abs(now_ms - at_ms) <= self.tolerance_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedSecret:
    """A secret that the gateway puts into a header; the whole of the header is compared."""

    secret: str = field(repr=False)
    header: str
    asks_for: str = "Secret"

    def why_not(self, headers: Headers, body: bytes, now_ms: Instant) -> str | None:
        del body, now_ms
        said = _only(headers, self.header)
        return "no secret" if said is None else None if _same(said, self.secret) else "secret does not match"


@dataclass(frozen=True, slots=True, kw_only=True)
class Password:
    """The password of HTTP's basic sign-in (RFC 7617), whatever the name: the last resort."""

    secret: str = field(repr=False)
    asks_for: str = 'Basic realm="texts", charset="UTF-8"'

    def why_not(self, headers: Headers, body: bytes, now_ms: Instant) -> str | None:
        del body, now_ms
        scheme, _, coded = (_only(headers, "authorization") or "").partition(" ")
        if scheme.lower() != "basic":
            return "no password"
        try:
            said = base64.b64decode(coded.strip(), validate=True).decode()
        except ValueError:
            return "no password"
        return None if _same(said.partition(":")[2], self.secret) else "password does not match"


def _only(headers: Headers, name: str) -> str | None:
    """A header that is there once. Two of them may be read as one thing by a proxy and as another by us."""
    found = headers.getlist(name)
    return found[0] if len(found) == 1 else None


def _same(theirs: str, ours: str) -> bool:
    return hmac.compare_digest(theirs.encode(errors="replace"), ours.encode())
