"""From where the batches were to the limits of a room over time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from rules.limits import Crop, RoomLimits, tenderest
from rules.model import Instant
from rules.profile import Profile, Stage
from rules.stays import ProfileKey, Stay, is_stood_for, present, stays_in_order
from service.storage.rooms import is_past_first_days
from service.storage.rows import Record

__all__ = [
    "Growing",
    "ProfileKey",
    "Stay",
    "crops_at",
    "present",
    "schedule",
    "stays_in_order",
    "wakes",
]


def wakes(
    room: Record, stage: Stage, stay: Stay, confirmed: AbstractSet[tuple[str, int, str]], now: Instant
) -> bool:
    """Whether this crop may wake somebody: its figures are stood for, and the room's first days are over."""
    return is_stood_for(stay, stage, confirmed) and is_past_first_days(room, now)


@dataclass(frozen=True, slots=True, kw_only=True)
class Growing:
    """What was written down about the crops of a room."""

    stays: Sequence[Stay]
    profiles: Mapping[ProfileKey, Profile]
    confirmed: AbstractSet[tuple[str, int, str]]


def schedule(room: Record, growing: Growing, *, now_ms: Instant) -> tuple[RoomLimits, ...]:
    """The text limits of ``room`` by the moment from which they hold."""
    moments = sorted({s.from_ms for s in growing.stays})
    return tuple(tenderest(crops_at(room, growing, moment, now_ms), from_ms=moment) for moment in moments)


def crops_at(room: Record, growing: Growing, at_ms: Instant, now_ms: Instant) -> Iterable[Crop]:
    """The crops in a room at a moment."""
    for stay in present(growing.stays, room["room_id"], at_ms):
        profile = growing.profiles[stay.profile]
        stage = profile.stage(stay.stage)
        yield Crop(
            batch=stay.batch,
            profile=profile,
            stage=stage,
            stage_since_ms=stay.stage_since_ms,
            wakes=wakes(room, stage, stay, growing.confirmed, now_ms),
        )
