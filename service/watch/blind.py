"""Which rooms nothing can be said of any more: the last probe of something that has a text limit fell silent."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rules.limits import RoomLimit
from rules.model import Instant, Quantity, Side
from rules.silence import HeardProbe
from service.storage import silences
from service.storage.database import Connection
from service.storage.holds import LEAVE, WORKING, HoldRow
from service.storage.rows import Record
from service.storage.spans import newest_values
from service.watch.catalogue import Catalogue
from service.watch.room_now import is_open, room_now


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """What a room has lost."""

    room: Record
    quantities: tuple[Quantity, ...]
    since_ms: Instant
    """When the last of it was heard."""
    counts_from_ms: Instant
    """From when on that counts as silence."""
    probes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What is watched in a room at this moment, of what may wake people."""

    limits: Mapping[tuple[Quantity, Side], RoomLimit]

    def may_wake(self, quantities: Collection[Quantity] = ()) -> bool:
        """Whether one of these (or anything at all) has a text limit that may wake people."""
        return any(
            limit.crop.wakes and (not quantities or quantity in quantities)
            for (quantity, _), limit in self.limits.items()
        )


async def watched_in(
    connection: Connection, farm_id: int, room: Record, *, catalogue: Catalogue, now_ms: Instant
) -> Watched:
    """Look at what grows in a room: an empty one, or one in its first days, wakes nobody."""
    now = await room_now(connection, farm_id, room, catalogue=catalogue, now_ms=now_ms)
    return Watched(limits=now.limits.limits)


def lost_in(
    room: Record,
    *,
    probes: Sequence[HeardProbe],
    measured: Mapping[str, Mapping[str, int]],
    counts_from_ms: Mapping[str, Instant],
) -> Lost | None:
    """What a room has lost, whether or not anybody needs it; ``None`` while every quantity is heard of.

    Args:
        room: the room.
        probes: the probes that hang in it and report often.
        measured: what each of them measures.
        counts_from_ms: of those that are silent, from when on.
    """
    of: dict[str, list[HeardProbe]] = {}
    for probe in probes:
        for quantity in measured.get(probe.probe, {}):
            of.setdefault(quantity, []).append(probe)
    lost = {q: its for q, its in of.items() if all(p.probe in counts_from_ms for p in its)}
    if not lost:
        return None
    gone = {probe.probe: probe for its in lost.values() for probe in its}
    return Lost(
        room=room,
        quantities=tuple(quantity for quantity in Quantity if quantity in lost),
        since_ms=max(probe.heard_ms for probe in gone.values()),
        counts_from_ms=max(counts_from_ms[name] for name in gone),
        probes=tuple(sorted(gone)),
    )


def is_held(lost: Lost, held: Sequence[HoldRow], now_ms: Instant) -> bool:
    """Whether nobody is to be told now: somebody works there, or all that was lost is left until a time."""
    here = [h for h in held if h.is_on(now_ms) and h.room_id in {None, lost.room["room_id"]}]
    left = {h.quantity for h in here if h.kind == LEAVE}
    return any(h.kind == WORKING for h in here) or None in left or set(lost.quantities) <= left


async def last_of_alarms(
    connection: Connection, farm_id: int, lost: Lost, watched: Watched
) -> dict[str, Any] | None:
    """What a limit that is passed showed when it was last heard of; ``None`` if none of what was lost is."""
    for alarm in await silences.open_alarms(connection, farm_id, [lost.room["room_id"]]):
        key = (Quantity(alarm["quantity"]), Side(alarm["side"]))
        if not is_open(alarm["state"]) or key[0] not in lost.quantities or key not in watched.limits:
            continue
        kept = [k for k in await newest_values(connection, farm_id, lost.probes) if k.quantity == key[0]]
        newest = max(kept, key=lambda k: k.at_ms, default=None)
        if newest is not None:
            limit = watched.limits[key].near.limit
            said = {"quantity": key[0].value, "side": key[1].value, "limit": limit}
            return {**said, "value": newest.value, "at_ms": newest.at_ms}
    return None
