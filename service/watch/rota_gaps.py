"""When nobody would have a rota's turn in the days to come."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from rules.model import DAY_MS, Instant
from service.localtime import local
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.on_call import RotaBooks, rota_books

LOOK_AHEAD_MS: Final = 14 * DAY_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A time in which a line of the call list that names this rota is passed over."""

    from_ms: Instant
    until_ms: Instant
    why: str
    """As :meth:`service.watch.on_call.RotaBooks.of_rota` says it."""


async def rota_gaps(
    connection: Connection, farm: Record, rota_id: str, *, from_ms: Instant, until_ms: Instant | None = None
) -> list[Gap]:
    """The gaps of a rota in the next fourteen days, or until a moment, by what is written down now."""
    end_ms = from_ms + LOOK_AHEAD_MS if until_ms is None else until_ms
    books = await rota_books(connection, farm, from_ms=from_ms, until_ms=end_ms)
    gaps: list[Gap] = []
    moments = _changes(books, rota_id, from_ms, end_ms)
    for at_ms, next_ms in pairwise(moments):
        person_id, why = books.of_rota(rota_id, at_ms)
        if person_id is not None:
            continue
        if gaps and gaps[-1].until_ms == at_ms and gaps[-1].why == why:
            at_ms = gaps.pop().from_ms  # noqa: PLW2901 - the gap goes on
        gaps.append(Gap(from_ms=at_ms, until_ms=next_ms, why=why))
    return gaps


def gap_sentence(gap: Gap, zone: str) -> str:
    """Such as: nobody has the turn from Mon 30 Nov 6:00 to 8:00."""
    from_, until = local(gap.from_ms, zone), local(gap.until_ms, zone)
    day = f"{until:%a} {until.day} {until:%b} " if from_.date() != until.date() else ""
    start = f"{from_:%a} {from_.day} {from_:%b} {from_.hour}:{from_:%M}"
    return f"{gap.why} from {start} to {day}{until.hour}:{until:%M}"


def _changes(books: RotaBooks, rota_id: str, from_ms: Instant, until_ms: Instant) -> list[Instant]:
    """Every moment at which somebody else may have the turn, with both ends."""
    moments = {at_ms for at_ms in _edges(books, rota_id) if from_ms < at_ms < until_ms}
    return sorted({*moments, from_ms, until_ms})


def _edges(books: RotaBooks, rota_id: str) -> Iterator[Instant]:
    for stint in books.turns.get(rota_id, ()):
        yield from (stint.from_ms, stint.until_ms)
    for row in (*books.swaps, *books.absences):
        yield from (row["from_ms"], row["until_ms"], row["recorded_ms"])
        if row["ended_ms"] is not None:
            yield row["ended_ms"]
