"""The texts about what is not heard: from frozen facts to the words for one person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.model import MINUTE_MS, Instant, Quantity, Side
from service.localtime import local
from service.wording.language import Language
from service.wording.reader import Reader
from service.wording.silence_texts import (
    HeardFacts,
    LastHeard,
    SilenceFacts,
    heard_text,
    silence_text,
    time_in_text,
)

Facts = Mapping[str, Any]


def _silence(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    return silence_text(
        SilenceFacts(
            scope=facts["scope"],
            name=facts["name"],
            rooms=tuple(facts["rooms"]),
            since=_time(facts["since_ms"], facts["zone"], now_ms, reader.language),
            quantities=tuple(Quantity(q) for q in facts.get("quantities", [])),
            last=_last(facts.get("last"), facts["zone"], now_ms, reader.language),
            by_http=bool(facts.get("by_http")),
            invented=bool(facts["invented"]),
        ),
        reader,
    )


def _last(last: Facts | None, zone: str, now_ms: Instant, language: Language) -> LastHeard | None:
    if last is None:
        return None
    return LastHeard(
        quantity=Quantity(last["quantity"]),
        side=Side(last["side"]),
        value=last["value"],
        limit=last["limit"],
        local_time=_time(last["at_ms"], zone, now_ms, language),
    )


def _heard(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    return heard_text(
        HeardFacts(
            scope=facts["scope"],
            name=facts["name"],
            rooms=tuple(facts["rooms"]),
            still=tuple(facts["still"]),
            until=_time(facts["until_ms"], facts["zone"], now_ms, reader.language),
            minutes=max(0, facts["until_ms"] - facts["since_ms"]) // MINUTE_MS,
            invented=bool(facts["invented"]),
        ),
        reader,
    )


def _time(at_ms: Instant, zone: str, now_ms: Instant, language: Language) -> str:
    return time_in_text(local(at_ms, zone), local(now_ms, zone), language)


BY_KIND: Final[Mapping[str, Callable[[Facts, Reader, Instant], str]]] = {"silence": _silence, "heard": _heard}
