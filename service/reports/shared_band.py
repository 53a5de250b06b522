"""The bands of a room that several crops share: what they have in common, or what was stated instead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from rules.compromise import Compromises, Stated, compromises_in
from rules.model import Instant, Quantity
from rules.profile import Profile
from rules.sharing import Share, sharers, sharing
from rules.stays import ProfileKey, Stay
from service.storage import compromises
from service.storage.database import Connection

Edges: TypeAlias = tuple[float | None, float | None]
"""Low and high, either may be absent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """A quantity of which no value suits all crops of a room."""

    share: Share
    """As it was when a compromise was stated; without one, as it is."""
    stated: Stated | None
    """``None`` while nobody has accepted a compromise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedRoom:
    """What the crops of one room have in common over time."""

    room_id: str
    stays: Sequence[Stay]
    profiles: Mapping[ProfileKey, Profile]
    compromises: Compromises

    def bands_at(self, at_ms: Instant) -> dict[Quantity, Edges]:
        """What to keep the room in at a moment: what is in common, a stated compromise, or the least bad band."""
        shares, stated = self._shares_at(at_ms), self.compromises.at(at_ms)
        shown = {q: stated[q].share if q in stated else share for q, share in shares.items()}
        return {q: (share.low, share.high) for q, share in shown.items()}

    def clashes_at(self, at_ms: Instant) -> tuple[Clash, ...]:
        """Where no value suits all at a moment."""
        stated = self.compromises.at(at_ms)
        return tuple(
            Clash(share=stated[q].share if q in stated else share, stated=stated.get(q))
            for q, share in self._shares_at(at_ms).items()
            if share.clashes
        )

    def changes(self) -> list[Instant]:
        """When batches came, left or changed their stage."""
        return sorted({stay.from_ms for stay in self.stays})

    def _shares_at(self, at_ms: Instant) -> dict[Quantity, Share]:
        return sharing(sharers(self.stays, self.profiles, self.room_id, at_ms))


async def shared_room(
    connection: Connection,
    farm_id: int,
    room_id: str,
    *,
    stays: Sequence[Stay],
    profiles: Mapping[ProfileKey, Profile],
) -> SharedRoom:
    """Read what people stated for a room, beside what was written down about its crops."""
    rows = await compromises.compromises_of(connection, farm_id, room_id)
    kept = compromises_in(rows, room_id=room_id, stays=stays, profiles=profiles)
    return SharedRoom(room_id=room_id, stays=stays, profiles=profiles, compromises=kept)
