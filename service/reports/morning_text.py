"""The facts of the morning's two-line text, from the sheet of the night."""

from __future__ import annotations

from typing import Any

from rules.model import MINUTE_MS, Instant, Quantity, Side
from service.reports.dips import Dip
from service.reports.round_sheet import RoomLine, RoundSheet, Standing
from service.reports.words import dips_to_tell
from service.storage.rows import Record

_PEOPLE = frozenset({"people", "danger"})


def morning_facts(sheet: RoundSheet, *, on_call: str | None) -> dict[str, Any] | None:
    """What the text says, frozen; ``None`` for a farm that has no rooms yet.

    Args:
        sheet: of the night that ended last.
        on_call: who is first on call tonight.
    """
    if not sheet.lines:
        return None
    worst, *others = sheet.loud or (None,)
    return {
        "room": None,
        "at_ms": sheet.span.now_ms,
        "zone": sheet.farm["zone"],
        "invented": bool(sheet.farm["invented"]),
        "room_word": sheet.farm["room_word"],
        "worst_room": None if worst is None else worst.night.room["text_name"],
        "spell": None if worst is None else _spell(worst),
        "people_from_ms": None if worst is None else _people_from(worst),
        "unheard": _unheard(worst),
        "also": [line.night.room["text_name"] for line in others if line is not None],
        "quiet": len(sheet.quiet),
        "open": [_open(line, alarm) for line in sheet.loud for alarm in line.night.open_alarms],
        "not_heard": [line.night.room["text_name"] for line in sheet.loud if line.unheard],
        "on_call": on_call,
    }


def _spell(line: RoomLine) -> dict[str, Any] | None:
    dips = dips_to_tell(line)
    if not dips:
        return None
    dip: Dip = dips[0]
    past = dip.past_from_ms is not None and dip.limit is not None
    return {
        "quantity": dip.quantity.value,
        "side": dip.side.value,
        "edge": dip.limit if past else dip.edge,
        "minutes": (dip.past_ms if past else dip.outside_ms) // MINUTE_MS,
        "from_ms": dip.past_from_ms if past else dip.from_ms,
        "worst": dip.worst,
        "over": dip.to_ms is not None,
    }


def _people_from(line: RoomLine) -> Instant | None:
    """When the first limit for people was passed in the night, or earlier if it still is."""
    times = [notice["at_ms"] for notice in line.night.notices if notice["kind"] in _PEOPLE]
    times += [alarm["since_ms"] for alarm in line.night.open_alarms if alarm["side"] == Side.PEOPLE]
    return min(times, default=None)


def _unheard(line: RoomLine | None) -> list[str]:
    if line is None or line.standing is not Standing.CANNOT_SAY:
        return []
    return [q.quantity.value for q in line.unheard]


def _open(line: RoomLine, alarm: Record) -> dict[str, Any]:
    side, quantity = Side(alarm["side"]), Quantity(alarm["quantity"])
    return {"room": line.night.room["text_name"], "quantity": quantity.value, "side": side.value}
