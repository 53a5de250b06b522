"""What somebody who opens an answering link needs to know before they answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.limits import Key
from rules.model import MINUTE_MS, Instant, Quantity, Side
from service.storage import ledger, outbox, people, rooms
from service.storage.database import Connection
from service.storage.rooms import COOLER
from service.storage.rows import Record
from service.storage.spans import Kept, newest_values
from service.watch.catalogue import Catalogue
from service.watch.links import Link
from service.watch.open_things import OpenThing, thing
from service.watch.room_now import is_open, room_now
from service.wire.word import Word

KNOWN_FOR_MS: Final = 15 * MINUTE_MS
"""An older value is not what is there now."""
_ON_THE_WAY: Final = frozenset({Word.GOING.value})
_OFF_THE_WAY: Final = frozenset({Word.OUT.value, Word.CANNOT.value, Word.FIXED.value, Word.PROBE.value})


@dataclass(frozen=True, slots=True, kw_only=True)
class Beyond:
    """One limit that is passed, with what is measured now."""

    room: str
    quantity: Quantity
    side: Side
    value: float | None
    """``None``: nothing was measured lately."""
    limit: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Going:
    """Somebody who is on the way or inside."""

    person_id: str
    name: str
    at_ms: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkView:
    """The whole of it."""

    link: Link
    person: Record
    thing: OpenThing
    missing: str
    """Who has not said that they are out, where that is what it is about; else empty."""
    why: str
    """``working`` where they were at work there; else empty."""
    since_ms: Instant
    """When it began, which is some minutes before anybody was told."""
    beyond: tuple[Beyond, ...]
    going: tuple[Going, ...]
    in_cooler: bool

    @property
    def is_going(self) -> bool:
        """Whether the one whose link this is has said that they go, and not yet that they are out."""
        return any(who.person_id == self.link.person_id for who in self.going)


async def look(
    connection: Connection, farm_id: int, link: Link, *, catalogue: Catalogue, now_ms: Instant
) -> LinkView:
    """Look at what a link is about, as of now.

    Raises:
        NotFound: it is about nothing that is written down.
    """
    about = await thing(connection, farm_id, link.happening_id)
    notice = await outbox.newest_notice(connection, farm_id, link.happening_id)
    facts: Record = {} if notice is None else notice["facts"]
    here = [await rooms.room(connection, farm_id, room_id) for room_id in about.room_ids]
    found: list[Beyond] = []
    for room in here:
        found += await _beyond(connection, farm_id, room, about, catalogue=catalogue, now_ms=now_ms)
    return LinkView(
        link=link,
        person=await people.person(connection, farm_id, link.person_id),
        thing=about,
        missing=str(facts.get("person", "")) if about.kind == "out" else "",
        why="working" if about.kind == "out" and facts.get("why") == "working" else "",
        since_ms=min(facts.get("began_ms") or facts.get("since_ms") or about.began_ms, about.began_ms),
        beyond=tuple(found),
        going=await _going(connection, farm_id, link.happening_id),
        in_cooler=any(room["kind"] == COOLER for room in here),
    )


async def _going(connection: Connection, farm_id: int, happening_id: str) -> tuple[Going, ...]:
    last: dict[str, Record] = {}
    for said in await outbox.answers_of(connection, farm_id, happening_id):
        if said["word"] in _ON_THE_WAY | _OFF_THE_WAY:
            last[said["person_id"]] = said
    names = {row["person_id"]: row["name"] for row in await people.all_people(connection, farm_id)}
    return tuple(
        Going(person_id=person_id, name=names.get(person_id, person_id), at_ms=said["at_ms"])
        for person_id, said in last.items()
        if said["word"] in _ON_THE_WAY
    )


async def _beyond(
    connection: Connection, farm_id: int, room: Record, about: OpenThing, *, catalogue: Catalogue, now_ms: Instant
) -> list[Beyond]:
    """The limits of one room that are passed now, each with its farthest-out probe."""
    alarms = await ledger.alarms_of(connection, farm_id, room["room_id"])
    keys = [key for key, alarm in alarms.items() if is_open(alarm["state"]) and _is_about(key, about)]
    if not keys:
        return []
    values = await _values(connection, farm_id, room["room_id"], now_ms)
    limits = (await room_now(connection, farm_id, room, catalogue=catalogue, now_ms=now_ms)).limits.limits
    return [
        Beyond(
            room=room["text_name"],
            quantity=quantity,
            side=side,
            value=_farthest(values, quantity, side),
            limit=limits[quantity, side].near.limit if (quantity, side) in limits else None,
        )
        for quantity, side in sorted(keys)
    ]


def _is_about(key: Key, about: OpenThing) -> bool:
    """Limits for people are a happening of their own, and what went wrong everywhere may be any limit."""
    return about.kind not in {"room", "people"} or (key[1] is Side.PEOPLE) is (about.kind == "people")


async def _values(connection: Connection, farm_id: int, room_id: str, now_ms: Instant) -> list[Kept]:
    here = await rooms.placements_in(connection, farm_id, room_id, from_ms=now_ms)
    since = {row["probe_id"]: row["valid_from_ms"] for row in here}
    newest = await newest_values(connection, farm_id, since)
    return [kept for kept in newest if kept.at_ms >= max(since[kept.probe], now_ms - KNOWN_FOR_MS)]


def _farthest(values: Sequence[Kept], quantity: Quantity, side: Side) -> float | None:
    found = [kept.value for kept in values if kept.quantity == quantity.value]
    return (min if side is Side.LOW else max)(found, default=None)
