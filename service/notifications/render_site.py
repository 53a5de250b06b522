"""The texts of the whole farm at once: from frozen facts to the words for one person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.model import Instant
from service.localtime import local
from service.wording.format import clock
from service.wording.reader import Reader
from service.wording.site_texts import (
    SiteBackFacts,
    SiteFacts,
    SummaryFacts,
    site_back_text,
    site_text,
    summary_text,
)

Facts = Mapping[str, Any]


def _site(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    del now_ms  # It says since when, which does not change.
    said = SiteFacts(
        rooms=tuple(facts["rooms"]),
        what=facts["what"],
        side=facts["side"] or "",
        since=clock(local(facts["since_ms"], facts["zone"])),
        first_check=facts["first_check"],
        known=facts["known"],
        told_before=facts["told_before"],
        air_out=facts["air_out"],
        invented=facts["invented"],
    )
    return site_text(said, reader)


def _site_back(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    del now_ms
    since_ms = facts["still_since_ms"]
    said = SiteBackFacts(
        rooms=tuple(facts["rooms"]),
        still=tuple(facts["still"]),
        left_alone=tuple(facts["left_alone"]),
        what=facts["what"],
        side=facts["side"] or "",
        still_since="" if since_ms is None else clock(local(since_ms, facts["zone"])),
        until=clock(local(facts["until_ms"], facts["zone"])),
        invented=facts["invented"],
        not_all=facts.get("not_all", False),
    )
    return site_back_text(said, reader)


def _summary(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    del now_ms
    said = SummaryFacts(
        count=facts["count"], held=facts["held"], rooms=tuple(facts["rooms"]), invented=facts["invented"]
    )
    return summary_text(said, reader)


BY_KIND: Final[Mapping[str, Callable[[Facts, Reader, Instant], str]]] = {
    "site": _site,
    "site back": _site_back,
    "summary": _summary,
}
