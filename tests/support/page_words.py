"""The words of a page."""

from __future__ import annotations

import re
from html import unescape

import httpx


def words(answer: httpx.Response) -> str:
    """A page without its markup and drawings."""
    body = answer.text.partition("<body>")[2]
    body = re.sub(r"<(svg|script).*?</\1>", " ", body, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", body)).split())
