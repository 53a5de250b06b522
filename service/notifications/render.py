"""From a notice's frozen facts to the words for one person.

Every family of texts has a module ``render_<family>.py`` with a ``BY_KIND``; here they are put together. Those
modules take ``Reader`` from ``service.wording.reader``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.model import Instant
from service.notifications import render_answers, render_chain, render_digest, render_silence, render_site
from service.storage.rows import Record
from service.wording.chain_texts import plain_text
from service.wording.language import Language
from service.wording.reader import Answers, Reader

__all__ = ["Answers", "Reader", "plain", "render"]

_BY_KIND: Final[Mapping[str, Callable[[Mapping[str, Any], Reader, Instant], str]]] = {
    **render_answers.BY_KIND,
    **render_chain.BY_KIND,
    **render_digest.BY_KIND,
    **render_silence.BY_KIND,
    **render_site.BY_KIND,
}


def render(notice: Record, reader: Reader, *, now_ms: Instant) -> str:
    """The text of a notice for one person; how long a trouble lasts is said as of now.

    Raises:
        KeyError: nobody wrote words for this kind, or a fact is missing.
    """
    return _BY_KIND[notice["kind"]](notice["facts"], reader, now_ms)


def plain(notice: Record, language: Language = "en") -> str:
    """What is said when the facts cannot be put into words: where to look. Never raises for what facts hold."""
    return plain_text(
        room=notice["facts"].get("room") or notice["room_id"], danger=notice["kind"] == "danger", language=language
    )
