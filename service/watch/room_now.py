"""What grows in a room at this moment, and the limits that hold there because of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from rules.alarm import OPEN, State
from rules.compromise import compromises_in
from rules.limits import Crop, RoomLimit, RoomLimits
from rules.model import LAST_INSTANT, Instant
from rules.schedule import Growing, backs_of, usuals_of
from rules.stays import stays_in_order
from service.storage import compromises, crops, holds, rooms, usuals
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.catalogue import Catalogue

__all__ = ["SPOKEN", "Crop", "RoomLimit", "RoomNow", "is_open", "room_now"]

SPOKEN: Final[Mapping[str, str]] = {
    State.UNACKNOWLEDGED.value: "open",
    State.ACKNOWLEDGED.value: "somebody is going",
    State.RETURNED_UNACKNOWLEDGED.value: "over, nobody answered",
    State.SHELVED.value: "left until a time",
    State.SUPPRESSED.value: "held back for now",
}
"""How people say where an alarm stands; a state without a word of its own is said as it is kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomNow:
    """The crops in a room, and the limits in force."""

    crops: tuple[Crop, ...]
    limits: RoomLimits


async def room_now(
    connection: Connection, farm_id: int, room: Record, *, catalogue: Catalogue, now_ms: Instant
) -> RoomNow:
    """Look at what was written down about the room's crops as of now."""
    growing = await written_down(connection, farm_id, room, catalogue, from_ms=now_ms)
    return RoomNow(crops=tuple(growing.crops_at(now_ms)), limits=growing.limits_at(now_ms))


async def written_down(
    connection: Connection, farm_id: int, room: Record, catalogue: Catalogue, *, from_ms: Instant
) -> Growing:
    """Read what was written down about a room that may matter from a moment on."""
    room_id = room["room_id"]
    stays = stays_in_order(await crops.stays_of_room(connection, farm_id, room_id))
    profiles = await catalogue.get_all(connection, (stay.profile for stay in stays))
    stated = await compromises.compromises_of(connection, farm_id, room_id)
    held = await holds.holds_of(connection, farm_id, room_id, from_ms=from_ms)
    return Growing(
        room_id=room_id,
        stays=stays,
        profiles=profiles,
        confirmed=await crops.confirmed(connection, farm_id),
        wakes_from_ms=rooms.wakes_from_ms(room),
        compromises=compromises_in(stated, room_id=room_id, stays=stays, profiles=profiles),
        backs=backs_of(held),
        usuals=usuals_of(await usuals.usual_of(connection, farm_id, room_id, from_ms, LAST_INSTANT)),
    )


def is_open(state: str) -> bool:
    """Whether an alarm in this state is beyond its limit right now."""
    return State(state) in OPEN
