"""What grew in a room over a span, and the bands and text limits that held because of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from rules import schedule
from rules.exposure import BandFrom
from rules.limits import Crop, Key
from rules.model import LAST_INSTANT, Instant, Quantity, Side
from rules.profile import Profile
from rules.stays import ProfileKey, stays_in_order
from service.localtime import stage_day
from service.reports.shared_band import Clash, Edges, SharedRoom, shared_room
from service.storage import crops, holds, rooms, usuals
from service.storage.database import Connection


class Profiles(Protocol):
    """Where parsed profiles come from."""

    async def get_all(self, connection: Connection, keys: Iterable[ProfileKey]) -> dict[ProfileKey, Profile]:
        """Several profiles at once."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class CropThere:
    """One batch in the room at a moment, for people."""

    batch: str
    label: str
    stage: str
    day: int
    """The first calendar day is day 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Growing:
    """The crops of one room over time."""

    written: schedule.Growing
    shared: SharedRoom

    def crops_at(self, at_ms: Instant) -> list[Crop]:
        """The crops in the room at a moment."""
        return self.written.crops_at(at_ms)

    def there(self, at_ms: Instant, zone: str) -> tuple[CropThere, ...]:
        """The same for people."""
        return tuple(
            CropThere(
                batch=crop.batch,
                label=crop.profile.label,
                stage=crop.stage.text_name,
                day=stage_day(crop.stage_since_ms, at_ms, zone),
            )
            for crop in self.crops_at(at_ms)
        )

    def stages_at(self, at_ms: Instant) -> frozenset[str]:
        """Which stages are in the room at a moment."""
        return frozenset(crop.stage.name for crop in self.crops_at(at_ms))

    def bands(self, from_ms: Instant, to_ms: Instant) -> dict[Quantity, tuple[BandFrom, ...]]:
        """For each quantity its band from moment to moment; the first step is at ``from_ms``.

        Where crops share the room it is what they have in common, else the compromise that somebody stated.
        """
        changes = [moment for moment in self.shared.changes() if from_ms < moment < to_ms]
        return _steps({at: self.shared.bands_at(at) for at in (from_ms, *changes)})

    def clashes_at(self, at_ms: Instant) -> tuple[Clash, ...]:
        """Where, at a moment, no value suits all crops of the room."""
        return self.shared.clashes_at(at_ms)

    def text_limits(self, from_ms: Instant, to_ms: Instant) -> dict[Quantity, tuple[BandFrom, ...]]:
        """The same for the text limits of the tenderest crop."""
        return _steps({at: self._limits_at(at) for at in self._moments(from_ms, to_ms)})

    def _limits_at(self, at_ms: Instant) -> dict[Quantity, Edges]:
        limits = self.written.limits_at(at_ms).limits
        return _paired({key: limit.near.limit for key, limit in limits.items()})

    def _moments(self, from_ms: Instant, to_ms: Instant) -> list[Instant]:
        return [from_ms, *self.written.moments(after_ms=from_ms, until_ms=to_ms - 1)]


async def growing(
    connection: Connection, farm_id: int, profiles: Profiles, room_id: str, *, from_ms: Instant = 0
) -> Growing:
    """Read what was written down about a room that may matter from a moment on."""
    stays = stays_in_order(await crops.stays_of_room(connection, farm_id, room_id))
    held = await holds.holds_of(connection, farm_id, room_id, from_ms=from_ms)
    usual = await usuals.usual_of(connection, farm_id, room_id, from_ms, LAST_INSTANT)
    known = await profiles.get_all(connection, (stay.profile for stay in stays))
    shared = await shared_room(connection, farm_id, room_id, stays=stays, profiles=known)
    return Growing(
        shared=shared,
        written=schedule.Growing(
            room_id=room_id,
            stays=stays,
            profiles=known,
            confirmed=await crops.confirmed(connection, farm_id),
            wakes_from_ms=rooms.wakes_from_ms(await rooms.room(connection, farm_id, room_id)),
            compromises=shared.compromises,
            backs=schedule.backs_of(held),
            usuals=schedule.usuals_of(usual),
        ),
    )


def _paired(limits: Mapping[Key, float]) -> dict[Quantity, Edges]:
    return {
        q: (limits.get((q, Side.LOW)), limits.get((q, Side.HIGH))) for q in {quantity for quantity, _ in limits}
    }


def _steps(by_moment: Mapping[Instant, Mapping[Quantity, Edges]]) -> dict[Quantity, tuple[BandFrom, ...]]:
    quantities = {quantity for edges in by_moment.values() for quantity in edges}
    return {quantity: tuple(_steps_of(by_moment, quantity)) for quantity in quantities}


def _steps_of(by_moment: Mapping[Instant, Mapping[Quantity, Edges]], quantity: Quantity) -> Iterable[BandFrom]:
    before: Edges | None = None
    for at_ms, edges in by_moment.items():
        low, high = edges.get(quantity, (None, None))
        if before != (low, high):
            before = (low, high)
            yield BandFrom(from_ms=at_ms, low=low, high=high)
