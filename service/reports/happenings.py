"""Happenings of a span for people: what it was about, who said what it was, and who still has to be asked."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from rules.model import Instant, Quantity, Side
from service.reports.span import Span
from service.storage import happenings, truths
from service.storage.database import Connection
from service.storage.rows import Record

ASKING: Final = frozenset(
    {"trouble", "also", "deeper", "people", "danger", "no improvement", "look after", "silence", "site"}
)
"""Kinds of notices that ask something of people; the others tell of an end, or of what others do."""
LOOKED_AFTER: Final = "out/"
"""So begins the id of a happening that is about a person who did not come out in time."""
HINTS: Final = frozenset({"probe", "fixed"})
"""Answers by text that already say what it was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What a happening is about, from the first notice of it."""

    kind: str
    """``room``, ``people``, ``silence`` or ``site``."""
    quantity: Quantity | None
    side: Side | None
    name: str
    """What was not heard, of a silence."""
    first_check: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """One happening, as the sheet asks about it."""

    happening_id: str
    room_id: str | None
    room: str
    """The name of the room; empty where it is about more than one."""
    began_ms: Instant
    ended_ms: Instant | None
    about: About
    woke: bool
    truth: Record | None
    """What was said last of what it was."""
    hints: tuple[Record, ...]
    """Answers by text that say something of it."""

    @property
    def is_asked(self) -> bool:
        """Whether somebody still has to say what it was, or what harm it did."""
        return self.truth is None or not self.truth["what"] or not self.truth["harm"]


async def happened_in(
    connection: Connection, farm_id: int, span: Span, names: Mapping[str, str]
) -> tuple[Happened, ...]:
    """What happened in a span, the first first.

    Left out is what was merged into something of the whole farm, and that somebody had to be looked after: neither
    is asked about.
    """
    rows = await happenings.happenings_between(connection, farm_id, from_ms=span.from_ms, to_ms=span.to_ms)
    asked = [r for r in reversed(rows) if r["part_of"] is None and not r["happening_id"].startswith(LOOKED_AFTER)]
    return await told_of(connection, farm_id, asked, names)


async def told_of(
    connection: Connection, farm_id: int, rows: Sequence[Record], names: Mapping[str, str]
) -> tuple[Happened, ...]:
    """Rows of happenings with what is known of each."""
    ids = [row["happening_id"] for row in rows]
    first = first_notices(await happenings.notices_of(connection, farm_id, ids))
    said = await truths.newest_truths(connection, farm_id, ids)
    answered = await happenings.answers_of(connection, farm_id, ids)
    return tuple(
        Happened(
            happening_id=row["happening_id"],
            room_id=row["room_id"],
            room=names.get(row["room_id"] or "", ""),
            began_ms=row["began_ms"],
            ended_ms=row["ended_ms"],
            about=about(row["happening_id"], first.get(row["happening_id"])),
            woke=bool(row["woke"]),
            truth=said.get(row["happening_id"]),
            hints=_hints(answered, row["happening_id"]),
        )
        for row in rows
    )


def first_notices(notices: Iterable[Record]) -> dict[str, Record]:
    """The first notice of each happening that says what is wrong; notices come oldest first."""
    found: dict[str, Record] = {}
    for notice in notices:
        if notice["kind"] in ASKING or notice["kind"] == "held":
            found.setdefault(notice["happening_id"], notice)
    return found


def about(happening_id: str, notice: Record | None) -> About:
    """What a happening is about."""
    facts: Mapping[str, Any] = {} if notice is None else notice["facts"]
    what = facts.get("what")
    quantity = facts.get("quantity") or (what if what in set(Quantity) else None)
    side = facts.get("side")
    return About(
        kind=kind_of(happening_id),
        quantity=None if quantity is None else Quantity(quantity),
        side=Side(side) if side in set(Side) else None,
        name=str(facts.get("name") or what or ""),
        first_check=facts.get("first_check"),
    )


def kind_of(happening_id: str) -> str:
    """What sort of happening it is, by its id."""
    if happening_id.startswith("silence/"):
        return "silence"
    if happening_id.startswith("site@"):
        return "site"
    return "people" if happening_id.endswith("/people") else "room"


def _hints(answered: Collection[Record], happening_id: str) -> tuple[Record, ...]:
    return tuple(a for a in answered if a["happening_id"] == happening_id and a["word"] in HINTS)
