"""Texts as others may read them: without the link that answers for whoever was sent it."""

from __future__ import annotations

import re
from typing import Final

_LINK: Final = re.compile(r"(https?://\S+/a/)[A-Za-z0-9_-]{16,}")


def without_link(text: str) -> str:
    """The text; where an answering link stands in it, only the beginning of that."""
    return _LINK.sub(r"\1...", text)
