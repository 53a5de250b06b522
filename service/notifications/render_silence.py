"""The texts about what is not heard: from frozen facts to the words for one person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.model import HOUR_MS, MINUTE_MS, Instant, Quantity, Side
from service.localtime import local
from service.wording.format import clock, day
from service.wording.reader import Reader
from service.wording.silence_texts import HeardFacts, LastHeard, SilenceFacts, heard_text, silence_text

Facts = Mapping[str, Any]

_SAME_DAY_MS: Final = 20 * HOUR_MS
"""What is longer ago is said with its day: "since 13:10" would be taken for today's."""


def _silence(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    return silence_text(
        SilenceFacts(
            scope=facts["scope"],
            name=facts["name"],
            rooms=tuple(facts["rooms"]),
            since=_time(facts["since_ms"], facts["zone"], now_ms),
            quantities=tuple(Quantity(q) for q in facts.get("quantities", [])),
            last=_last(facts.get("last"), facts["zone"], now_ms),
            by_http=bool(facts.get("by_http")),
            invented=bool(facts["invented"]),
        ),
        reader,
    )


def _last(last: Facts | None, zone: str, now_ms: Instant) -> LastHeard | None:
    if last is None:
        return None
    return LastHeard(
        quantity=Quantity(last["quantity"]),
        side=Side(last["side"]),
        value=last["value"],
        limit=last["limit"],
        local_time=_time(last["at_ms"], zone, now_ms),
    )


def _heard(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    return heard_text(
        HeardFacts(
            scope=facts["scope"],
            name=facts["name"],
            rooms=tuple(facts["rooms"]),
            still=tuple(facts["still"]),
            until=_time(facts["until_ms"], facts["zone"], now_ms),
            minutes=max(0, facts["until_ms"] - facts["since_ms"]) // MINUTE_MS,
            invented=bool(facts["invented"]),
        ),
        reader,
    )


def _time(at_ms: Instant, zone: str, now_ms: Instant) -> str:
    here = local(at_ms, zone)
    return clock(here) if now_ms - at_ms < _SAME_DAY_MS else f"{day(here)} {clock(here)}"


BY_KIND: Final[Mapping[str, Callable[[Facts, Reader, Instant], str]]] = {"silence": _silence, "heard": _heard}
