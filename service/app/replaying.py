"""``houseband replay``: stored history judged once more, and told beside what was told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final

from rules.model import DAY_MS, Instant
from service.errors import NotFound, NotUnderstood
from service.localtime import at_local, instant
from service.notifications.lines import ways
from service.notifications.routing import Way
from service.reports.replay import WAKE, Beside, Line, Says, beside
from service.storage import nights, outbox, rooms
from service.storage.database import Connection, Database
from service.storage.rows import Record
from service.watch.catalogue import Catalogue
from service.watch.on_call import call_list
from service.watch.replay import Changed, Replay
from service.watch.trying import changed_by

DAYS: Final = 30
AT_ONCE: Final = 2
"""As many as are told at once for as long as nobody has answered a text of ours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the command line asks for."""

    room: str | None = None
    begin: str | None = None
    end: str | None = None
    profile_file: Path | None = None
    limits: Sequence[str] = ()
    waits: Sequence[str] = ()


async def replay_lines(database: Database, slug: str, asked: Asked, *, now_ms: Instant) -> list[str]:
    """Everything that ``houseband replay`` prints.

    Raises:
        NotFound: there is no such farm or room.
        NotUnderstood: something that was asked for cannot be read or tried.
    """
    file = asked.profile_file
    text = None if file is None else _text_of(file)
    changed = changed_by(limits=asked.limits, waits=asked.waits, profile=text, file=file.name if file else "")
    async with database.read() as connection:
        farm = await rooms.farm_by_slug(connection, slug)
        if farm is None:
            raise NotFound(f"there is no farm {slug!r} in this database yet")
        to_ms = moment(asked.end, farm["zone"], now_ms + 1)
        from_ms = moment(asked.begin, farm["zone"], to_ms - DAYS * DAY_MS)
        if from_ms >= to_ms:
            raise NotUnderstood("the span ends before it begins")
        every = await rooms.all_rooms(connection, farm["farm_id"])
        if asked.room is not None:
            every = [await rooms.room(connection, farm["farm_id"], asked.room)]
        found: list[str] = ["invented data"] if farm["invented"] else []
        for room in every:
            found += await _room(connection, farm, room, changed, from_ms=from_ms, to_ms=to_ms)
    return found


def _text_of(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise NotUnderstood(f"{file} cannot be read: {error}") from error


async def _room(
    connection: Connection, farm: Record, room: Record, changed: Changed, *, from_ms: Instant, to_ms: Instant
) -> list[str]:
    farm_id = farm["farm_id"]
    again = Replay(connection=connection, farm=farm, catalogue=Catalogue(farm_id))
    replayed = await again.room(room, from_ms=from_ms, to_ms=to_ms, changed=changed)
    told = await outbox.notices_between(connection, farm_id, from_ms=from_ms, to_ms=replayed.to_ms)
    joined = beside([one for one in told if one["room_id"] == room["room_id"]], replayed.notices)
    tellings = await nights.tellings_between(connection, farm_id, from_ms=from_ms, to_ms=replayed.to_ms)
    calls = {
        line.at_ms: await call_list(connection, farm, at_ms=line.at_ms, room_id=room["room_id"])
        for line in joined.lines
        if line.notice["telling"] == WAKE and line.was is None
    }
    return list(_lines(farm, room, joined, tellings=tellings, calls=calls))


def _lines(
    farm: Record, room: Record, joined: Beside, *, tellings: Sequence[Record], calls: dict[Instant, list[Record]]
) -> Iterator[str]:
    says = Says(zone=farm["zone"], units=farm["units"])
    yield f"{room['name']}: {says.summary(joined)}"
    for line in joined.lines:
        yield f"  {says.line(line)}"
        if line.notice["telling"] == WAKE and line.notice["kind"] != "back":
            yield f"      {_whom(line, tellings, calls.get(line.at_ms, []))}"


def _whom(line: Line, tellings: Sequence[Record], calls: Sequence[Record]) -> str:
    """Who was told, or whom the call list of today would have had told."""
    if line.was is not None:
        names = [str(one["name"]) for one in tellings if one["notice_key"] == line.was["notice_key"]]
        return f"told: {_listed(names)}"
    told = [row for row in calls if ways(row, frozenset(Way))]
    names, later = [row["name"] for row in told[:AT_ONCE]], [row["name"] for row in told[AT_ONCE:]]
    then = f"; then, unless somebody is going: {_listed(later)}" if later else ""
    return f"by the call list of today: {_listed(names)}{then}"


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names) or "nobody"


def moment(text: str | None, zone: str, otherwise: Instant) -> Instant:
    """A day of the farm's calendar ("2026-11-24", its beginning), or a moment with its offset.

    Raises:
        NotUnderstood: neither of them.
    """
    if text is None:
        return otherwise
    try:
        return at_local(date.fromisoformat(text), 0, zone)
    except ValueError:
        pass
    try:
        return instant(datetime.fromisoformat(text))
    except ValueError as error:
        raise NotUnderstood(f"{text}: write a day, 2026-11-24, or a moment, 2026-11-24T18:00:00-05:00") from error
