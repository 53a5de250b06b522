"""The words of an outcome, for the list of texts and for the log: short, one line, and without secrets."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final
from urllib.parse import quote, quote_plus

_LONGEST: Final = 200
_LEAST_SECRET: Final = 4
"""Shorter values are not hidden: blotting out every "1" would leave nothing to read."""
_HIDDEN: Final = "[hidden]"


def detail(said: str, secrets: Iterable[str] = ()) -> str:
    """``said`` with every one of ``secrets`` blotted out, also where it was echoed in a web address."""
    for form in sorted(_forms(secrets), key=len, reverse=True):
        said = re.sub(re.escape(form), _HIDDEN, said, flags=re.IGNORECASE)
    readable = "".join(letter if letter.isprintable() else " " for letter in said)
    short = " ".join(readable.split())
    return short if len(short) <= _LONGEST else short[: _LONGEST - 3] + "..."


def _forms(secrets: Iterable[str]) -> set[str]:
    """Each value and its words ("Bearer abc" also hides abc), plain and percent-encoded."""
    parts = {part for secret in secrets for part in (secret, *secret.split())}
    long_enough = {part for part in parts if len(part) >= _LEAST_SECRET}
    return {form for part in long_enough for form in (part, quote(part, safe=""), quote_plus(part))}
