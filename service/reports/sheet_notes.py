"""What the round sheet notes beside the rooms: what happened and is to be named, and what is due this week."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.battery import BEFORE_DAYS, NEWEST_DAYS, Fading, fading
from rules.model import DAY_MS, Instant
from service.localtime import local
from service.reports.happenings import Happened, happened_in
from service.reports.span import Span
from service.storage import night_notes, probe_checks
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.silences import SilenceRow, silences_between

TRIALS_MS: Final = 8 * DAY_MS
"""A test that is sent every week stands on the sheet until the next one."""
TIME_TO_ANSWER_MS: Final = 2 * 60 * 60_000
"""A test is called unanswered after so long (judgement)."""

PROBE: Final = "probe"
"""The scope of a silence of one probe."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckDue:
    """A probe to be checked against a reference."""

    probe_id: str
    room: str
    place: str
    due_ms: Instant
    checked_ms: Instant | None
    checked_who: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatteryDue:
    """A probe whose battery is fading."""

    probe_id: str
    room: str
    place: str
    battery: Fading


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetNotes:
    """All notes of one sheet."""

    happened: tuple[Happened, ...]
    checks: tuple[CheckDue, ...]
    batteries: tuple[BatteryDue, ...]
    trials: tuple[Record, ...]
    """Tests that nobody answered."""
    silences: tuple[SilenceRow, ...]
    """What was not heard for a while. A probe that still is not heard stands among the silent ones instead."""
    names: Mapping[str, str]
    """The rooms' names by id."""


async def sheet_notes(
    connection: Connection, farm: Record, span: Span, *, probes: Sequence[Record], names: Mapping[str, str]
) -> SheetNotes:
    """Collect the notes of a span.

    Args:
        connection: to read with.
        farm: the farm's row.
        span: what the sheet is about.
        probes: every probe that was heard, with where it hangs now.
        names: the rooms' names by id.
    """
    farm_id, now_ms = farm["farm_id"], span.now_ms
    placed = [probe for probe in probes if probe["room_id"] is not None]
    trials = await night_notes.unanswered_trials(
        connection, farm_id, from_ms=now_ms - TRIALS_MS, to_ms=now_ms - TIME_TO_ANSWER_MS
    )
    silences = await silences_between(connection, farm_id, from_ms=span.from_ms, to_ms=span.to_ms)
    return SheetNotes(
        happened=await happened_in(connection, farm_id, span, names),
        checks=tuple(_checks(placed, names, now_ms)),
        batteries=tuple(await _batteries(connection, farm, placed, names, now_ms)),
        trials=tuple(trials),
        silences=tuple(one for one in silences if one.scope != PROBE or one.ended_ms is not None),
        names=names,
    )


def _checks(placed: Iterable[Record], names: Mapping[str, str], now_ms: Instant) -> list[CheckDue]:
    found = [
        CheckDue(
            probe_id=probe["probe_id"],
            room=names[probe["room_id"]],
            place=probe["place"],
            due_ms=due_ms,
            checked_ms=probe["checked_ms"],
            checked_who=probe["checked_who"],
        )
        for probe in placed
        if (due_ms := probe_checks.due_ms(probe)) is not None and due_ms <= now_ms
    ]
    return sorted(found, key=lambda one: (one.due_ms, one.probe_id))


async def _batteries(
    connection: Connection, farm: Record, placed: Iterable[Record], names: Mapping[str, str], now_ms: Instant
) -> list[BatteryDue]:
    offset = local(now_ms, farm["zone"]).utcoffset()
    offset_ms = 0 if offset is None else round(offset.total_seconds() * 1000)
    today = (now_ms + offset_ms) // DAY_MS
    daily = await probe_checks.daily_highest_battery(
        connection,
        farm["farm_id"],
        from_ms=(today - NEWEST_DAYS - BEFORE_DAYS + 1) * DAY_MS - offset_ms,
        to_ms=now_ms + 1,
        offset_ms=offset_ms,
    )
    return [
        BatteryDue(probe_id=probe["probe_id"], room=names[probe["room_id"]], place=probe["place"], battery=found)
        for probe in placed
        if (found := fading(daily.get(probe["probe_id"], ()), today=today)) is not None
    ]
