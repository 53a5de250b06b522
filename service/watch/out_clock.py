"""The watch over whoever went in: no "out" in time, and the next person is told to look after them.

Who says that they are going should be out after a while; who works in a room, when they said so. Somebody working
in all rooms is one of a crew that goes about, and not watched over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.model import HOUR_MS, Instant
from service.storage import holds, ledger, outbox, people, rooms
from service.storage.database import Connection
from service.storage.figures import Figures
from service.storage.holds import WORKING
from service.storage.rows import Record
from service.watch.open_things import OUT_MARK
from service.wire.word import Word

LOOK_BACK_MS: Final = 12 * HOUR_MS
"""Who went in longer ago and was not asked after then is not asked after now: we were not running."""
USE_BY_MS: Final = 4 * HOUR_MS
OUT_AGAIN: Final = frozenset({Word.OUT, Word.CANNOT})
"""Answers that show that somebody is not inside (any more)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Inside:
    """Somebody who went in."""

    person_id: str
    room_id: str | None
    why: str
    """``going`` or ``working``."""
    since_ms: Instant
    until_ms: Instant
    """When they should be out."""

    @property
    def happening_id(self) -> str:
        """What it is called while nobody knows where they are."""
        return f"{OUT_MARK}{self.person_id}@{self.since_ms}"


async def look_after_all(connection: Connection, farm: Record, figures: Figures, now_ms: Instant) -> int:
    """Have somebody look after everyone who should have said "out" by now; return of how many that was new."""
    due = [
        inside
        for inside in await _everybody_inside(connection, farm["farm_id"], figures, now_ms)
        if now_ms >= inside.until_ms + figures.ms("out_wait_minutes")
    ]
    return sum([await _look_after(connection, farm, inside, now_ms) for inside in due])


async def came_out(connection: Connection, farm_id: int, person_id: str, now_ms: Instant) -> int:
    """Somebody is out, of wherever they were; whoever was told to look after them hears it.

    Returns:
        How many such watches that ended.
    """
    for hold in await holds.all_holds(connection, farm_id, from_ms=now_ms - LOOK_BACK_MS):
        if hold.kind == WORKING and hold.person_id == person_id and hold.ended_ms is None:
            await holds.end_hold(connection, farm_id, hold.hold_id, now_ms, who=person_id)
    mine = f"{OUT_MARK}{person_id}@"
    rows = await ledger.unanswered_happenings(connection, farm_id)
    watched = [row for row in rows if str(row["happening_id"]).startswith(mine)]
    for row in watched:
        await end_watch(connection, farm_id, str(row["happening_id"]), now_ms)
    return len(watched)


async def end_watch(connection: Connection, farm_id: int, happening_id: str, now_ms: Instant) -> None:
    """Nobody need look after this person any more."""
    before = await outbox.newest_notice(connection, farm_id, happening_id)
    happening = await ledger.happening(connection, farm_id, happening_id)
    if happening["ended_ms"] is not None:
        return
    await ledger.save_happening(connection, farm_id, {**happening, "ended_ms": now_ms, "closed_ms": now_ms})
    if before is not None:
        facts = {**before["facts"], "at_ms": now_ms}
        ended = {**before, "notice_key": f"{happening_id}/came out", "kind": "came out", "facts": facts}
        moments = {"at_ms": now_ms, "decided_ms": now_ms, "use_by_ms": now_ms + USE_BY_MS}
        known = {name: value for name, value in (ended | moments).items() if name not in {"farm_id", "addressed"}}
        await ledger.add_notices(connection, farm_id, [known])


async def _everybody_inside(
    connection: Connection, farm_id: int, figures: Figures, now_ms: Instant
) -> list[_Inside]:
    since_ms = now_ms - LOOK_BACK_MS
    answers = await outbox.answers_since(connection, farm_id, since_ms)
    went = [
        _Inside(
            person_id=said["person_id"],
            room_id=said["room_id"],
            why="going",
            since_ms=said["at_ms"],
            until_ms=said["at_ms"] + figures.ms("out_after_going_minutes"),
        )
        for said in answers
        if said["word"] == Word.GOING and not str(said["happening_id"]).startswith(OUT_MARK)
    ]
    worked = [
        _Inside(
            person_id=row.person_id,
            room_id=row.room_id,
            why="working",
            since_ms=row.from_ms,
            until_ms=row.until_ms,
        )
        for row in await holds.all_holds(connection, farm_id, from_ms=since_ms)
        if row.kind == WORKING and row.person_id is not None and row.room_id is not None and row.ended_ms is None
    ]
    last_out = {said["person_id"]: said["at_ms"] for said in answers if said["word"] in OUT_AGAIN}
    inside: dict[str, _Inside] = {}
    for one in sorted([*went, *worked], key=lambda each: each.since_ms):
        if last_out.get(one.person_id, -1) < one.since_ms:
            inside[one.person_id] = one  # the last place that somebody went to is where they are
    return list(inside.values())


async def _look_after(connection: Connection, farm: Record, inside: _Inside, now_ms: Instant) -> int:
    farm_id, happening_id = farm["farm_id"], inside.happening_id
    if await outbox.newest_notice(connection, farm_id, happening_id) is not None:
        return 0
    person = await people.person(connection, farm_id, inside.person_id)
    room = None if inside.room_id is None else await rooms.room(connection, farm_id, inside.room_id)
    begun = {"happening_id": happening_id, "room_id": None, "began_ms": now_ms, "woke": 1}
    await ledger.save_happening(connection, farm_id, {**begun, "ended_ms": None, "closed_ms": None})
    facts = {
        "person": person["name"],
        "person_id": inside.person_id,
        "phone": person["phone"],
        "room": None if room is None else room["text_name"],
        "why": inside.why,
        "since_ms": inside.since_ms,
        "until_ms": inside.until_ms,
        "at_ms": now_ms,
        "zone": farm["zone"],
        "invented": bool(farm["invented"]),
    }
    notice = {
        "notice_key": f"{happening_id}/look after",
        "kind": "look after",
        "telling": "wake",
        "room_id": inside.room_id,
        "happening_id": happening_id,
        "at_ms": now_ms,
        "decided_ms": now_ms,
        "use_by_ms": now_ms + USE_BY_MS,
        "facts": facts,
    }
    await ledger.add_notices(connection, farm_id, [notice])
    return 1
