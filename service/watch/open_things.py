"""What is open now, or over and not answered yet: rooms, the whole site, silences, people who went in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from rules.model import Instant
from service.storage import ledger, outbox, rooms
from service.storage.database import Connection
from service.storage.rows import Record

Kind: TypeAlias = Literal["room", "people", "site", "silence", "out"]

SITE_MARK: Final = "site@"
SILENCE_MARK: Final = "silence/"
OUT_MARK: Final = "out/"
"""Begins the happening of somebody who went in and has not said that they are out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenThing:
    """One happening that somebody can answer."""

    happening_id: str
    kind: Kind
    room_id: str | None
    room_ids: tuple[str, ...]
    """The rooms it is about, as far as it is about rooms."""
    name: str
    """How texts call it: the room's text name, or "farm"."""
    began_ms: Instant
    ended_ms: Instant | None


async def open_things(connection: Connection, farm_id: int) -> list[OpenThing]:
    """Everything that is open, newest first, and then what is over and waits for an answer.

    A room's happening that is told with the whole site's is not listed beside it.
    """
    rows = await ledger.unanswered_happenings(connection, farm_id)
    listed = {str(row["happening_id"]) for row in rows}
    names = {row["room_id"]: row["text_name"] for row in await rooms.all_rooms(connection, farm_id)}
    things = [
        await _thing(connection, farm_id, row, names)
        for row in rows
        if row["part_of"] is None or row["part_of"] not in listed
    ]
    return sorted(things, key=lambda thing: thing.ended_ms is not None)


async def thing(connection: Connection, farm_id: int, happening_id: str) -> OpenThing:
    """One happening, whether or not it is still open.

    Raises:
        NotFound: there is none.
    """
    row = await ledger.happening(connection, farm_id, happening_id)
    names = {room["room_id"]: room["text_name"] for room in await rooms.all_rooms(connection, farm_id)}
    return await _thing(connection, farm_id, row, names)


async def _thing(connection: Connection, farm_id: int, row: Record, names: dict[str, str]) -> OpenThing:
    happening_id, room_id = str(row["happening_id"]), row["room_id"]
    kind = kind_of(happening_id)
    about: tuple[str, ...] = () if room_id is None else (str(room_id),)
    name = names.get(str(room_id), "farm")
    if room_id is None:
        parts = await ledger.parts_of(connection, farm_id, happening_id)
        notice = await outbox.newest_notice(connection, farm_id, happening_id)
        about = tuple(str(part["room_id"]) for part in parts if part["room_id"])
        if notice is not None and notice["room_id"] is not None:
            about, name = (*about, str(notice["room_id"])), names.get(str(notice["room_id"]), name)
    return OpenThing(
        happening_id=happening_id,
        kind=kind,
        room_id=None if room_id is None else str(room_id),
        room_ids=tuple(dict.fromkeys(about)),
        name=name,
        began_ms=row["began_ms"],
        ended_ms=row["ended_ms"],
    )


def kind_of(happening_id: str) -> Kind:
    """What sort of happening an id stands for."""
    if happening_id.endswith(ledger.PEOPLE_MARK):
        return "people"
    marks: dict[str, Kind] = {SITE_MARK: "site", SILENCE_MARK: "silence", OUT_MARK: "out"}
    return next((kind for mark, kind in marks.items() if happening_id.startswith(mark)), "room")
