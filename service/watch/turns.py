"""Whose turn it is: turns, then swaps, then absences, each of which outweighs the one before. Plain decisions.

A turn ends when the farm's clock shows its start and its minutes together: from 20:00 for 12 hours is until 8:00,
also in the night in which that takes 11 or 13 hours, so that changing the clocks opens no gap between two turns.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from rules.model import MINUTE_MS, Instant
from service.errors import NotUnderstood
from service.localtime import of_wall, wall
from service.storage.rows import Record
from service.watch.recurrence import Rule, read_rule

LONGEST_TURN_MINUTES: Final = 31 * 24 * 60
SHORTEST_TURN_MINUTES: Final = 15
MOST_TURNS: Final = 40
"""To a rota."""
_SLACK: Final = timedelta(hours=3)
"""More than any clock is ever moved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stint:
    """One person's one time."""

    person_id: str
    from_ms: Instant
    until_ms: Instant
    recorded_ms: Instant

    def is_on(self, at_ms: Instant) -> bool:
        """Whether it covers a moment."""
        return self.from_ms <= at_ms < self.until_ms


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who has the turn."""

    person_id: str
    why: str
    """``"turn"`` or ``"swap"``."""


def check_turn(starts_local: str, minutes: int, rrule: str) -> Rule:
    """Read what somebody wrote of a turn.

    Raises:
        NotUnderstood: it gives no turn, or one of a length that no turn has.
    """
    if not SHORTEST_TURN_MINUTES <= minutes <= LONGEST_TURN_MINUTES:
        raise NotUnderstood(f"a turn takes from {SHORTEST_TURN_MINUTES} to {LONGEST_TURN_MINUTES} minutes")
    return read_rule(rrule, wall_time(starts_local))


def wall_time(text: str) -> datetime:
    """A time on the farm's wall, such as 2026-10-26T20:00.

    Raises:
        NotUnderstood: it is not one, or has an offset.
    """
    try:
        moment = datetime.strptime(text, "%Y-%m-%dT%H:%M")  # noqa: DTZ007 - a wall time
    except ValueError as error:
        raise NotUnderstood("a turn begins at a time on the farm's clock, such as 2026-10-26T20:00") from error
    if not 1970 <= moment.year <= 9000:  # noqa: PLR2004 - the years a calendar here can be asked about
        raise NotUnderstood("a turn begins between the years 1970 and 9000")
    return moment


def stints(turns: Iterable[Record], zone: str, *, from_ms: Instant, until_ms: Instant) -> list[Stint]:
    """Every time between two moments at which somebody has a turn, the latest to begin last."""
    found: list[Stint] = []
    for turn in turns:
        rule = read_rule(turn["rrule"], wall_time(turn["starts_local"]))
        length = timedelta(minutes=turn["minutes"])
        earliest = wall(from_ms, zone) - length - _SLACK
        for begins in rule.begins(earliest, wall(until_ms, zone) + _SLACK):
            stint = _stint(turn, begins, length, zone)
            if stint.from_ms < until_ms and stint.until_ms > from_ms:
                found.append(stint)
    return sorted(found, key=lambda s: (s.from_ms, s.recorded_ms, s.person_id))


def _stint(turn: Record, begins: datetime, length: timedelta, zone: str) -> Stint:
    from_ms = of_wall(begins, zone)
    # Where the wall skips the start, the turn is as long as it would be from the time that the wall shows instead.
    until_ms = of_wall(wall(from_ms, zone) + length, zone)
    return Stint(
        person_id=turn["person_id"],
        from_ms=from_ms,
        # In the hour that the wall shows twice, a short turn must not end before it begins.
        until_ms=max(until_ms, from_ms + MINUTE_MS),
        recorded_ms=turn["recorded_ms"],
    )


def holder(turns: Sequence[Stint], swaps: Iterable[Record], at_ms: Instant) -> Holder | None:
    """Who has the turn: whoever swapped last, else the turn that began last; ``None`` when nobody has it."""
    swapped = [swap for swap in swaps if holds_at(swap, at_ms)]
    if swapped:
        return Holder(person_id=max(swapped, key=_weight)["person_id"], why="swap")
    on = [stint for stint in turns if stint.is_on(at_ms)]
    return Holder(person_id=on[-1].person_id, why="turn") if on else None


def holds_at(row: Record, at_ms: Instant) -> bool:
    """Whether a swap or an absence holds at a moment, by what was written down by then."""
    end_ms = row["until_ms"] if row["ended_ms"] is None else min(row["until_ms"], row["ended_ms"])
    return bool(row["recorded_ms"] <= at_ms and row["from_ms"] <= at_ms < end_ms)


def stands_in(person_id: str, absences: Mapping[str, Record]) -> str | None:
    """Who stands in for somebody, and for whoever stands in, until one of them is there.

    Args:
        person_id: who would be told.
        absences: who is away at that moment (:func:`away`).

    Returns:
        The person themself if they are there; ``None`` when the chain ends with nobody or comes back to somebody.
    """
    seen: set[str] = set()
    current: str | None = person_id
    while current is not None and current in absences:
        if current in seen:
            return None
        seen.add(current)
        current = absences[current]["instead_id"]
    return current


def away(absences: Iterable[Record], at_ms: Instant) -> dict[str, Record]:
    """Who is away at a moment, by what was written down last of each."""
    found: dict[str, Record] = {}
    for absence in sorted(absences, key=_weight):
        if holds_at(absence, at_ms):
            found[absence["person_id"]] = absence
    return found


def _weight(row: Record) -> tuple[int, int, str]:
    """What began later, and was written down later, outweighs."""
    return row["from_ms"], row["recorded_ms"], row["person_id"]
