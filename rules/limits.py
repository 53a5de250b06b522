"""Which limits hold in a room, given what grows there.

A room may hold several batches at different stages. For every quantity and side the tenderest crop, the one
whose limit is reached first, sets the text limit and is named in the text.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

from rules.condition import Limit
from rules.model import Instant, Quantity, Side
from rules.profile import Profile, Stage, TextLimit

Key: TypeAlias = tuple[Quantity, Side]
"""What an alarm of a room is known by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """One batch in a room, at one stage."""

    batch: str
    profile: Profile
    stage: Stage
    stage_since_ms: Instant
    wakes: bool
    """False while its figures are unconfirmed or the room is in its first days: then it is only listed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomLimit:
    """A text limit in force in a room, and the crop that set it."""

    near: Limit
    far: Limit | None
    crop: Crop


@dataclass(frozen=True, kw_only=True)
class RoomLimits:
    """All text limits of a room from one moment on. Without slots, so that the fingerprint is made only once."""

    from_ms: Instant
    limits: Mapping[Key, RoomLimit]

    @cached_property
    def fingerprint(self) -> str:
        """Equal for equal limits: tells whether a room is still judged by what it was judged by before."""
        rows = (
            (q, s, r.near, r.far, r.crop.batch, r.crop.stage.name, r.crop.stage_since_ms)
            for (q, s), r in sorted(self.limits.items())
        )
        return repr(tuple((*row[:2], *_numbers(row[2]), *_numbers(row[3]), *row[4:]) for row in rows))


def _numbers(limit: Limit | None) -> tuple[float, ...]:
    if limit is None:
        return ()
    return (limit.limit, limit.wait_ms, limit.recover_margin, limit.recover_ms)


def tenderest(crops: Iterable[Crop], *, from_ms: Instant) -> RoomLimits:
    """The limits of a room that holds ``crops`` from ``from_ms`` on; none at all for an empty room."""
    chosen: dict[Key, RoomLimit] = {}
    for crop in crops:
        for key, text_limit in crop.stage.text_limits.items():
            offered = _room_limit(key[1], text_limit, crop)
            present = chosen.get(key)
            if present is None or _tenderness(offered) > _tenderness(present):
                chosen[key] = offered
    return RoomLimits(from_ms=from_ms, limits=chosen)


def _tenderness(limit: RoomLimit) -> tuple[bool, float]:
    """A crop that may wake somebody outranks one that may not; then the limit reached first."""
    reached_first = limit.near.limit if limit.near.side is Side.LOW else -limit.near.limit
    return (limit.crop.wakes, reached_first)


def _room_limit(side: Side, text_limit: TextLimit, crop: Crop) -> RoomLimit:
    near = Limit(
        side=side,
        limit=text_limit.limit.value,
        wait_ms=text_limit.wait_ms,
        recover_margin=text_limit.recover_margin,
        recover_ms=text_limit.recover_ms,
    )
    far = None
    if text_limit.far_limit is not None:
        far = Limit(
            side=side,
            limit=text_limit.far_limit.value,
            wait_ms=text_limit.wait_ms if text_limit.far_wait_ms is None else text_limit.far_wait_ms,
            recover_margin=text_limit.recover_margin,
            recover_ms=text_limit.recover_ms,
        )
    return RoomLimit(near=near, far=far, crop=crop)
