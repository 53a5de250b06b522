"""The watch over whoever went in: no "out" in time, and the next person is told to look after them.

Who says that they are going should be out after a while; who works in a room, when they said so. Somebody working
in all rooms is one of a crew that goes about, and not watched over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.model import HOUR_MS, Instant
from service.storage import holds, ledger, outbox, people, rooms
from service.storage.database import Connection
from service.storage.figures import Figures
from service.storage.holds import WORKING
from service.storage.rows import Record
from service.watch.open_things import OUT_MARK
from service.wire.reply_words import reply_name
from service.wire.word import Word

LOOK_BACK_MS: Final = 12 * HOUR_MS
"""Who went in longer ago and was not asked after then is not asked after now: we were not running."""
FORGOTTEN_MS: Final = 24 * HOUR_MS
"""A watch that nobody ended for so long is ended, and nobody told: they were found, or it was not by us."""
USE_BY_MS: Final = 4 * HOUR_MS


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
    everybody = await _everybody_inside(connection, farm["farm_id"], figures, now_ms)
    await _end_old_watches(connection, farm["farm_id"], {one.person_id: one for one in everybody}, now_ms)
    wait_ms = figures.ms("out_wait_minutes")
    for inside in everybody:
        if inside.until_ms <= now_ms < inside.until_ms + wait_ms:
            await _ask_themselves(connection, farm, inside, look_ms=inside.until_ms + wait_ms, now_ms=now_ms)
    due = [inside for inside in everybody if now_ms >= inside.until_ms + wait_ms]
    return sum([await _look_after(connection, farm, inside, now_ms) for inside in due])


async def _ask_themselves(
    connection: Connection, farm: Record, inside: _Inside, *, look_ms: Instant, now_ms: Instant
) -> None:
    """Most have only forgotten to say so: they are asked, once, before anybody is woken for them."""
    farm_id = farm["farm_id"]
    person = await people.person(connection, farm_id, inside.person_id)
    if not person["phone"] or person["opted_out_ms"] is not None:
        return
    every = {room["room_id"]: room["text_name"] for room in await rooms.all_rooms(connection, farm_id)}
    room = every.get(inside.room_id)
    notice = {
        "notice_key": f"{inside.happening_id}/out again?",
        "kind": "out again?",
        "room_id": inside.room_id,
        "happening_id": None,
        "at_ms": now_ms,
        "decided_ms": now_ms,
        "use_by_ms": look_ms,
        "facts": {
            "room": room,
            "reply": "" if room is None else reply_name(room, every.values()),
            "look_ms": look_ms,
            "at_ms": now_ms,
            "zone": farm["zone"],
            "invented": bool(farm["invented"]),
        },
    }
    await outbox.add_direct(connection, farm_id, notice, person_id=inside.person_id, way="text")


async def _end_old_watches(
    connection: Connection, farm_id: int, inside: Mapping[str, _Inside], now_ms: Instant
) -> None:
    """Who has gone somewhere else since is out of where they were; and no watch goes on for ever."""
    for row in await ledger.unanswered_happenings(connection, farm_id):
        happening_id = str(row["happening_id"])
        if not happening_id.startswith(OUT_MARK) or row["ended_ms"] is not None:
            continue
        notice = await outbox.newest_notice(connection, farm_id, happening_id)
        person_id = happening_id.removeprefix(OUT_MARK).rpartition("@")[0]
        now_in = inside.get(person_id)
        been_in = None if notice is None else notice["room_id"]
        if now_in is not None and now_in.since_ms >= row["began_ms"] and now_in.room_id not in {None, been_in}:
            await end_watch(connection, farm_id, happening_id, now_ms)
        elif now_ms - row["began_ms"] >= FORGOTTEN_MS:
            await end_watch(connection, farm_id, happening_id, now_ms, telling="round")


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


async def say_out(connection: Connection, farm_id: int, person_id: str, now_ms: Instant) -> int:
    """Somebody says at a page that they are out: of everything they had said that they go to.

    Returns:
        To how many things they were going.
    """
    answers = await outbox.answers_since(connection, farm_id, now_ms - LOOK_BACK_MS)
    mine = [a for a in answers if a["person_id"] == person_id and a["word"] in {Word.GOING, Word.OUT, Word.CANNOT}]
    last = {str(a["happening_id"]): a["word"] for a in mine}
    going = [happening_id for happening_id, word in last.items() if word == Word.GOING]
    for happening_id in going:
        said = {"person_id": person_id, "at_ms": now_ms, "word": Word.OUT.value, "way": "page"}
        await ledger.add_answer(connection, farm_id, {"happening_id": happening_id, **said})
    return len(going)


async def end_watch(
    connection: Connection, farm_id: int, happening_id: str, now_ms: Instant, *, telling: str = "wake"
) -> None:
    """Nobody need look after this person any more; with ``telling`` "round" nobody hears so either."""
    before = await outbox.newest_notice(connection, farm_id, happening_id)
    happening = await ledger.happening(connection, farm_id, happening_id)
    if happening["ended_ms"] is not None:
        return
    await ledger.save_happening(connection, farm_id, {**happening, "ended_ms": now_ms, "closed_ms": now_ms})
    if before is not None:
        facts = {**before["facts"], "at_ms": now_ms}
        ended = {**before, "notice_key": f"{happening_id}/came out", "kind": "came out", "facts": facts}
        moments = {"at_ms": now_ms, "decided_ms": now_ms, "use_by_ms": now_ms + USE_BY_MS, "telling": telling}
        known = {name: value for name, value in (ended | moments).items() if name not in {"farm_id", "addressed"}}
        await ledger.add_notices(connection, farm_id, [known])


async def _everybody_inside(
    connection: Connection, farm_id: int, figures: Figures, now_ms: Instant
) -> list[_Inside]:
    since_ms = now_ms - LOOK_BACK_MS
    answers = await outbox.answers_since(connection, farm_id, since_ms)
    last_out = {said["person_id"]: said["at_ms"] for said in answers if said["word"] == Word.OUT}
    went = [
        _Inside(
            person_id=said["person_id"],
            room_id=said["room_id"],
            why="going",
            since_ms=said["at_ms"],
            until_ms=said["at_ms"] + figures.ms("out_after_going_minutes"),
        )
        for said in answers
        if said["word"] == Word.GOING
        and not _is_taken_back(said, answers)
        and not await _is_in_vain(connection, farm_id, said)
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
    inside: dict[str, _Inside] = {}
    # Who goes to the whole farm has said so for each of its rooms at the same moment.
    for one in sorted([*went, *worked], key=lambda each: (each.since_ms, each.room_id is None)):
        if last_out.get(one.person_id, -1) < one.since_ms:
            inside[one.person_id] = one  # the last place that somebody went to is where they are
    return list(inside.values())


async def _is_in_vain(connection: Connection, farm_id: int, said: Record) -> bool:
    """Who said that they go to what was known to be over heard so, and did not go.

    Who goes to look for somebody is inside as well, until that one is found.
    """
    if said["ended_ms"] is None or str(said["happening_id"]).startswith(OUT_MARK):
        return said["ended_ms"] is not None
    if said["ended_ms"] > said["at_ms"]:
        return False
    known_ms = await outbox.end_decided_ms(connection, farm_id, said["happening_id"])
    return known_ms is not None and known_ms <= said["at_ms"]


def _is_taken_back(said: Record, answers: Sequence[Record]) -> bool:
    """Whether somebody said later, of the same, that they cannot go. Of something else it says nothing of this."""
    same = [a for a in answers if (a["person_id"], a["happening_id"]) == (said["person_id"], said["happening_id"])]
    return any(a["word"] == Word.CANNOT and a["at_ms"] >= said["at_ms"] for a in same)


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
