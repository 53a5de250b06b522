"""What a room would have woken people for, had its first days been over: read from what was written down of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rules.limits import Key
from rules.model import Instant, Quantity, Side
from service.storage.rows import Record


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
