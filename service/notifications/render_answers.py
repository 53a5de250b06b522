"""The texts that go back to somebody who answered: from frozen facts to the words for one person."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from rules.model import MINUTE_MS, Instant, Quantity, Side
from service.localtime import local, local_date
from service.wording.answer_texts import AnswerFacts, OpenLine, StatusFacts, answer_text, status_text
from service.wording.format import clock
from service.wording.reader import Reader
from service.wording.why_text import WhyFacts, why_text

Facts = Mapping[str, Any]


def _answer(facts: Facts, reader: Reader, now_ms: Instant) -> str:
    del now_ms  # What was noted was noted then, whenever the text goes out.
    if facts["result"] == "why":
        return why_text(_why(facts), reader)
    if facts["result"] == "status":
        return status_text(_status(facts), reader)
    return answer_text(
        AnswerFacts(
            result=facts["result"],
            room=facts["room"],
            local_time=_clock(facts, "at_ms"),
            reply=facts.get("reply", ""),
            other_time=_clock(facts, "other_ms"),
            person=facts.get("person", ""),
            stage=facts.get("stage", ""),
            word=facts.get("word"),
            options=tuple(facts.get("options", ())),
            caution=facts.get("caution"),
            invented=facts["invented"],
        ),
        reader,
    )


def _why(facts: Facts) -> WhyFacts:
    return WhyFacts(
        room=facts["room"],
        quantity=Quantity(facts["quantity"]),
        side=Side(facts["side"]),
        limit=facts["limit"],
        set_by=facts["set_by"],
        set_on="" if facts["set_ms"] is None else local_date(facts["set_ms"], facts["zone"]).isoformat(),
        readings=tuple(facts["readings"]),
        first_time=_clock(facts, "first_ms"),
        last_time=_clock(facts, "last_ms"),
        wait_minutes=facts["wait_minutes"],
        probe=facts["probe"],
        invented=facts["invented"],
    )


def _status(facts: Facts) -> StatusFacts:
    return StatusFacts(
        open=tuple(
            OpenLine(
                name=line["name"],
                kind=line["kind"],
                quantity=None if line["quantity"] is None else Quantity(line["quantity"]),
                side=None if line["side"] is None else Side(line["side"]),
                minutes=(facts["at_ms"] - line["began_ms"]) // MINUTE_MS,
            )
            for line in facts["open"]
        ),
        local_time=_clock(facts, "at_ms"),
        longest_minutes=None if not facts["heard_ms"] else (facts["at_ms"] - facts["heard_ms"]) // MINUTE_MS,
        longest_probe=facts["probe"],
        lately=facts["lately"],
        invented=facts["invented"],
    )


def _clock(facts: Facts, name: str) -> str:
    at_ms = facts.get(name)
    return "" if at_ms is None else clock(local(at_ms, facts["zone"]))


BY_KIND: Final[Mapping[str, Callable[[Facts, Reader, Instant], str]]] = {"answer": _answer}
