"""What a room would have woken people for, had its first days been over: read from what was written down of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rules.limits import Key
from rules.model import Instant, Quantity, Side
from rules.suggest import Suggestion
from service.storage.rows import Record
from service.wording.format import limit_in_text
from service.wording.units import Units


def would_have_texted(notices: Iterable[Record]) -> Mapping[Key, list[Instant]]:
    """When each limit of a room would have woken somebody.

    A happening has one first text; after it only a far limit speaks. What we learned late, or what somebody held
    back, would have woken nobody either.

    Args:
        notices: of one room, oldest first.
    """
    woke: set[str] = set()
    found: dict[Key, list[Instant]] = {}
    for notice in notices:
        facts = notice["facts"]
        if notice["kind"] not in {"trouble", "deeper"} or facts.get("learned_late"):
            continue
        speaks = notice["happening_id"] not in woke or notice["kind"] == "deeper" or facts["far"]
        woke.add(notice["happening_id"])
        if speaks and notice["telling"] == "round":
            found.setdefault((Quantity(facts["quantity"]), Side(facts["side"])), []).append(notice["at_ms"])
    return found


def suggestion_in_words(suggestion: Suggestion, units: Units) -> str:
    """Where a limit would have been quiet, or that none would: then it is the room that needs a look."""
    if suggestion.suggested is None:
        return "no limit within reason would have been quiet; look at the room first"
    limit = limit_in_text(suggestion.key[0], suggestion.suggested, units)
    return f"with a limit of {limit} these days would have been quiet"
