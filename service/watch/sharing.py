"""Whether a room suits all that stands in it, asked when a batch comes or changes its stage.

Where nothing is in common, the move is refused, or made as a compromise that somebody states. The question is
asked for the moment of the move and for every later change in the room: a move written down late meets what came
since.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from rules.compromise import Compromises, Shares, Stated, follow, stated_rows, to_facts
from rules.model import Instant, Quantity
from rules.profile import Profile
from rules.sharing import KindKey, Part, Share, Sharer, sharers, sharing
from rules.stays import ProfileKey, Stay, stays_in_order
from service.errors import NotAllowed
from service.storage import compromises, crops
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.catalogue import Catalogue, stage_of
from service.watch.desk import Desk
from service.wording.sharing_sentences import nothing_in_common
from service.wording.units import Units

__all__ = ["Looked", "NothingInCommon", "Part", "Share", "Sharer", "Stated", "preview", "room_share", "settle"]


class NothingInCommon(NotAllowed):
    """The crops of a room have no common band, and nobody has accepted a compromise. Nothing moved."""

    def __init__(self, shares: Sequence[Share], units: Units) -> None:
        """Keep what clashes beside the reason, so that a page can ask for a compromise."""
        self.shares = tuple(shares)
        super().__init__("; ".join(nothing_in_common(share, units) for share in shares))


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomShare:
    """What the crops of a room have in common over time, and what was stated for it."""

    room_id: str
    stays: Sequence[Stay]
    profiles: Mapping[ProfileKey, Profile]
    stated: Sequence[Stated]

    def shares_at(self, at_ms: Instant) -> Shares:
        """What the crops in the room want at a moment."""
        return sharing(self.sharers_at(at_ms))

    def sharers_at(self, at_ms: Instant) -> list[Sharer]:
        """The crops in the room at a moment."""
        return sharers(self.stays, self.profiles, self.room_id, at_ms)

    def compromises(self) -> Compromises:
        """What was stated, with the time for which it stands."""
        return follow(self.stated, changes=self.changes(), shares_at=self.shares_at)

    def changes(self) -> list[Instant]:
        """When batches came, left or changed their stage."""
        return sorted({stay.from_ms for stay in self.stays})

    def unsettled(self, kind: KindKey, from_ms: Instant) -> list[tuple[Instant, Share]]:
        """Where, from a moment on, a kind of crop is part of a clash for which nothing was stated.

        Of every quantity only the first moment: a compromise stated there stands until the room holds other kinds.
        """
        settled, found = self.compromises(), dict[Quantity, tuple[Instant, Share]]()
        for at_ms in [from_ms, *(at for at in self.changes() if at > from_ms)]:
            for quantity, share in self.shares_at(at_ms).items():
                if share.clashes and kind in share.kinds and quantity not in settled.at(at_ms):
                    found.setdefault(quantity, (at_ms, share))
        return list(found.values())


async def room_share(connection: Connection, farm_id: int, room_id: str, catalogue: Catalogue) -> RoomShare:
    """Read what was written down about the crops of a room, and what was stated for it."""
    stays = stays_in_order(await crops.stays_of_room(connection, farm_id, room_id))
    return RoomShare(
        room_id=room_id,
        stays=stays,
        profiles=await catalogue.get_all(connection, (stay.profile for stay in stays)),
        stated=stated_rows(await compromises.compromises_of(connection, farm_id, room_id)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """How a room is shared now, or would be."""

    here: tuple[Sharer, ...]
    shares: Shares
    compromises: Mapping[Quantity, Stated]
    """Those in force now, of what is in the room now."""


async def preview(
    connection: Connection,
    desk: Desk,
    room_id: str,
    *,
    coming: tuple[str, str] | None = None,
    batch_id: str | None = None,
) -> Looked:
    """Look at what is in a room now, and at what it would be with one more crop.

    Args:
        connection: to read with.
        desk: the farm.
        room_id: of a room that exists.
        coming: profile and stage of what would come.
        batch_id: the batch that this would be; where it stands now does not count.

    Raises:
        NotFound: there is no such profile or stage.
    """
    now_ms = desk.clock.now_ms()
    read = await room_share(connection, desk.farm_id, room_id, desk.catalogue)
    here = [sharer for sharer in read.sharers_at(now_ms) if coming is None or sharer.batch != batch_id]
    if coming is not None:
        profile = await desk.catalogue.get(connection, coming[0])
        here.append(Sharer(batch=batch_id or "", profile=profile, stage=stage_of(profile, coming[1])))
    return Looked(here=tuple(here), shares=sharing(here), compromises=read.compromises().at(now_ms))


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepting:
    """Somebody accepts that a room will not suit all that stands in it."""

    who: str
    now_ms: Instant


async def settle(
    connection: Connection,
    farm_id: int,
    read: RoomShare,
    *,
    kind: KindKey,
    from_ms: Instant,
    accepting: Accepting | None,
    units: Units,
) -> None:
    """See to it that a kind of crop, from a moment on, stands where it suits, or under a stated compromise.

    Raises:
        NothingInCommon: it clashes, and nobody accepts a compromise.
    """
    while found := read.unsettled(kind, from_ms):
        if accepting is None:
            raise NothingInCommon([share for _, share in found], units)
        states = [_values(read.room_id, at_ms, share, accepting) for at_ms, share in found]
        rows = [await compromises.add_compromise(connection, farm_id, values) for values in states]
        read = replace(read, stated=[*read.stated, *stated_rows(rows)])


def _values(room_id: str, from_ms: Instant, share: Share, accepting: Accepting) -> Record:
    return {
        "room_id": room_id,
        "quantity": share.quantity.value,
        "recorded_ms": accepting.now_ms,
        "from_ms": from_ms,
        "low": share.low,
        "high": share.high,
        "facts": to_facts(share),
        "who": accepting.who,
    }
