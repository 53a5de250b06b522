"""From what was written down about batches to the limits of a room over time.

A stay says: from this moment on, this batch is in this room at this stage. It holds until the batch's next stay.
Where two stays of a batch begin at the same moment, the one recorded later counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from itertools import groupby
from typing import TypeAlias

from rules.limits import Crop, RoomLimits, tenderest
from rules.model import Instant
from rules.profile import Profile, Stage
from service.storage.rows import Record

ProfileKey: TypeAlias = tuple[str, int]
COOLER = "packing cooler"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A batch in one room at one stage, from a moment to a moment (``None``: until further notice)."""

    batch: str
    room_id: str | None
    stage: str
    profile: ProfileKey
    from_ms: Instant
    to_ms: Instant | None
    stage_since_ms: Instant


def stays_in_order(rows: Sequence[Record]) -> list[Stay]:
    """Work out until when each stay holds, and since when the batch is at its stage."""
    return [stay for _, group in groupby(rows, key=lambda r: r["batch_id"]) for stay in _of_one_batch(list(group))]


def _of_one_batch(rows: Sequence[Record]) -> Iterable[Stay]:
    kept = {row["valid_from_ms"]: row for row in rows}  # later recorded ones come later and win
    moments = sorted(kept)
    stage_since, stage = 0, None
    for moment, after in zip(moments, [*moments[1:], None], strict=True):
        row = kept[moment]
        if row["stage"] != stage:
            stage_since, stage = moment, row["stage"]
        yield Stay(
            batch=row["batch_id"],
            room_id=row["room_id"],
            stage=row["stage"],
            profile=(row["profile"], row["version"]),
            from_ms=moment,
            to_ms=after,
            stage_since_ms=stage_since,
        )


def wakes(
    room: Record, stage: Stage, stay: Stay, confirmed: AbstractSet[tuple[str, int, str]], now: Instant
) -> bool:
    """Whether this crop may wake somebody: its figures are stood for, and the room's first days are over.

    A cooler has no first days: what is wrong there is wrong for product that is picked already.
    """
    stood_for = stage.all_read or (*stay.profile, stage.name) in confirmed
    return stood_for and (room["kind"] == COOLER or room["first_days_end_ms"] <= now)


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


def present(stays: Iterable[Stay], room_id: str, at_ms: Instant) -> list[Stay]:
    """The stays that hold in a room at a moment."""
    return [
        s for s in stays if s.room_id == room_id and s.from_ms <= at_ms and (s.to_ms is None or at_ms < s.to_ms)
    ]
