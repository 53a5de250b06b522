"""The round sheet: every room after a night, the worst first, and what was heard, told and held back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from rules.model import HOUR_MS, MINUTE_MS, Instant
from rules.profile_limits import probe_accuracy
from rules.room_state import LONGEST_HOLD_MS
from service.reports.happenings import ASKING
from service.reports.night import Books, QuantityNight, RoomNight, read_ledger, room_night
from service.reports.sheet_notes import SheetNotes, sheet_notes
from service.reports.span import Span
from service.storage import nights, rooms
from service.storage.rows import Record

TENDERNESS: Final = {"pinning": 4.0, "fruiting": 2.0, "storage": 2.0, "soak": 1.5, "browning": 1.0, "rest": 0.5}
"""How much a minute outside the band counts, by stage (our judgement: pins forgive least, a rest most)."""
_OTHER_TENDERNESS: Final = 1.0
_TROUBLE: Final = frozenset({"trouble", "danger", "people"})
"""Kinds of notices after which a room was not quiet."""


class Standing(IntEnum):
    """How a room stands, the worst first."""

    STILL_WRONG = 0
    """A limit is passed."""
    OUT_NOW = 1
    """Outside its band now, by more than a probe may be off, and no limit is passed."""
    CANNOT_SAY = 2
    """Nothing is heard of a quantity that matters to the crop."""
    WELL_AGAIN = 3
    """It was outside during the night."""
    QUIET = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomLine:
    """One room of the sheet."""

    night: RoomNight
    standing: Standing
    unheard: tuple[QuantityNight, ...]
    """Quantities with a band of which nothing is known now."""
    woke: int
    """How many texts were sent about it."""
    held_back: tuple[Record, ...]
    """Notices that would have woken somebody: in first days, by figures nobody stands for, or held back."""

    @property
    def weight(self) -> float:
        """Hours outside times tenderness: for the order of rooms only, never shown."""
        tenderness = max(
            (TENDERNESS.get(stage, _OTHER_TENDERNESS) for stage in self.night.stages), default=_OTHER_TENDERNESS
        )
        return tenderness * sum(dip.outside_ms for dip in self.night.dips) / HOUR_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentProbe:
    """A placed probe that is not heard."""

    probe_id: str
    room: str
    place: str
    heard_ms: Instant | None
    """``None`` if it never was."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundSheet:
    """The whole sheet."""

    farm: Record
    span: Span
    lines: tuple[RoomLine, ...]
    silent: tuple[SilentProbe, ...]
    waiting: tuple[Record, ...]
    """Probes that are heard and hang nowhere yet."""
    rejected: int
    """Messages of the span that were not understood."""
    tellings: tuple[Record, ...]
    on_call: tuple[Record, ...]
    notes: SheetNotes

    @property
    def loud(self) -> tuple[RoomLine, ...]:
        """Rooms that need words."""
        return tuple(line for line in self.lines if line.standing is not Standing.QUIET)

    @property
    def quiet(self) -> tuple[RoomLine, ...]:
        """Rooms that need one line each."""
        return tuple(line for line in self.lines if line.standing is Standing.QUIET)

    @property
    def held_back(self) -> tuple[tuple[RoomLine, Record], ...]:
        """What would have woken somebody."""
        return tuple((line, notice) for line in self.lines for notice in line.held_back)


async def round_sheet(books: Books, span: Span, *, on_call: Sequence[Record] = ()) -> RoundSheet:
    """Write the sheet of a span; ``on_call`` is who is on call now, in order, as whoever asks worked it out."""
    ledger = await read_ledger(books, span)
    connection, farm_id = books.connection, books.farm_id
    all_rooms = await rooms.all_rooms(connection, farm_id)
    lines = [room_line(await room_night(books, room["room_id"], span, ledger)) for room in all_rooms]
    heard = await rooms.all_probes(connection, farm_id)
    within = {"from_ms": span.from_ms, "to_ms": span.to_ms}
    rejected = await nights.rejected_counts(connection, farm_id, **within)
    names = {room["room_id"]: room["name"] for room in all_rooms}
    return RoundSheet(
        farm=books.farm,
        span=span,
        lines=tuple(sorted(lines, key=_worst_first)),
        silent=tuple(_silent(heard, names, span.now_ms)),
        waiting=tuple(p for p in heard if p["room_id"] is None),
        rejected=sum(row["count"] for row in rejected),
        tellings=tuple(ledger.tellings),
        on_call=tuple(on_call),
        notes=await sheet_notes(connection, books.farm, span, probes=heard, names=names),
    )


def room_line(night: RoomNight) -> RoomLine:
    """How one room stands after its night."""
    unheard = tuple(q for q in night.quantities if q.now is None and _is_missed(q))
    return RoomLine(
        night=night,
        standing=_standing(night, unheard),
        unheard=unheard,
        woke=len({t["notice_key"] for t in night.tellings if t["state"] == "sent" and t["kind"] in ASKING}),
        held_back=tuple(n for n in night.notices if _was_held_back(n)),
    )


def _standing(night: RoomNight, unheard: Sequence[QuantityNight]) -> Standing:
    if night.open_alarms:
        return Standing.STILL_WRONG
    if any(_is_clearly_out(q, night.span) for q in night.out_now):
        return Standing.OUT_NOW
    if unheard:
        return Standing.CANNOT_SAY
    if night.dips or any(n["kind"] in _TROUBLE for n in night.notices):
        return Standing.WELL_AGAIN
    return Standing.QUIET


def _is_missed(quantity: QuantityNight) -> bool:
    """Whether it has to be heard of: a cooler that never had a humidity probe, and no such limit, misses none."""
    has_band = quantity.band_now.low is not None or quantity.band_now.high is not None
    return has_band and (quantity.is_watched or bool(quantity.lines))


def _is_clearly_out(quantity: QuantityNight, span: Span) -> bool:
    """Outside by more than a probe may be off; in the running span, for long enough to be worth a sentence."""
    now = quantity.now
    if now is None or now.edge is None:
        return False
    if span.reaches_now and not any(dip.to_ms is None for dip in quantity.outside.dips):
        return False
    return abs(now.value - now.edge) > probe_accuracy(quantity.quantity, now.edge)


def _was_held_back(notice: Record) -> bool:
    """A first notice of trouble that was only listed; one learned late would not have woken anybody anyway."""
    if notice["kind"] == "held":
        return True
    return notice["kind"] == "trouble" and notice["telling"] == "round" and not notice["facts"].get("learned_late")


def held_back_by_first_days(line: RoomLine, notice: Record) -> bool:
    """True when the room's first days were the reason, false when it was figures that nobody stands for."""
    return not rooms.is_past_first_days(line.night.room, notice["decided_ms"])


def _worst_first(line: RoomLine) -> tuple[object, ...]:
    still_wrong = line.standing is Standing.STILL_WRONG
    return (not still_wrong, -line.woke, line.standing, -line.weight, line.night.room["position"])


def _silent(probes: Sequence[Record], names: dict[str, str], now_ms: Instant) -> list[SilentProbe]:
    return [
        SilentProbe(
            probe_id=p["probe_id"],
            room=names[p["room_id"]],
            place=p["place"],
            heard_ms=p["last_heard_ms"] or None,
        )
        for p in probes
        if p["room_id"] is not None and now_ms - p["last_heard_ms"] > LONGEST_HOLD_MS + MINUTE_MS
    ]
