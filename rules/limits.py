"""Which limits hold in a room, given what grows there, and what is held back.

A room may hold several batches at different stages. For every quantity and side the tenderest crop, the one
whose limit is reached first, sets the text limit and is named in the text. The far limit is the one that is
reached first too, whichever crop it comes from.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import TypeAlias

from rules.condition import Limit
from rules.model import Instant, Quantity, Side
from rules.profile import Fast, Profile, Stage, TextLimit

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
    fast: Fast | None = None
    """A quick change beyond ``near`` has a shorter wait."""
    usual: float | None = None
    """What the room usually shows at this hour, where ``near`` was drawn from it."""


class Why(StrEnum):
    """Why people are not told of a crop's limit for a time."""

    WORKING = "working"
    LEFT = "left until"
    STAGE = "stage begins"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A limit goes on being judged, and nobody is told, from a moment to a moment."""

    why: Why
    from_ms: Instant
    until_ms: Instant
    who: str


@dataclass(frozen=True, kw_only=True)
class RoomLimits:
    """All text limits of a room from one moment on. Without slots, so that the fingerprint is made only once."""

    from_ms: Instant
    limits: Mapping[Key, RoomLimit]
    holds: Mapping[Key, Hold] = field(default_factory=dict)
    """Which of them are held back from this moment."""

    @cached_property
    def fingerprint(self) -> str:
        """Equal for equal figures and holds: tells whether a room is still judged by what it was judged by."""
        limits = sorted(self.limits.items())
        holds = sorted((*key, hold.why.value) for key, hold in self.holds.items())
        return repr(([(*key, *_numbers(r.near), *_numbers(r.far), _quick(r.fast)) for key, r in limits], holds))


def _numbers(limit: Limit | None) -> tuple[float, ...]:
    if limit is None:
        return ()
    return (limit.limit, limit.wait_ms, limit.recover_margin, limit.recover_ms)


def _quick(fast: Fast | None) -> tuple[float, ...]:
    return () if fast is None else (fast.change, fast.within_ms, fast.wait_ms)


def tenderest(crops: Iterable[Crop], *, from_ms: Instant, holds: Mapping[Key, Hold] | None = None) -> RoomLimits:
    """The limits of a room that holds ``crops`` from ``from_ms`` on; none at all for an empty room."""
    offered: dict[Key, list[RoomLimit]] = {}
    for crop in crops:
        for key, text_limit in crop.stage.text_limits.items():
            offered.setdefault(key, []).append(_room_limit(key[1], text_limit, crop))
    return RoomLimits(
        from_ms=from_ms,
        limits={key: _tenderest(found) for key, found in offered.items()},
        holds={key: hold for key, hold in (holds or {}).items() if key in offered},
    )


def _tenderest(offered: list[RoomLimit]) -> RoomLimit:
    """The limit that is reached first; of two alike the first named. Crops that may wake go before others."""
    wakes = any(limit.crop.wakes for limit in offered)
    able = [limit for limit in offered if limit.crop.wakes == wakes]
    chosen = max(able, key=lambda r: _reached_first(r.near))
    far = max((r.far for r in able if r.far is not None), key=_reached_first, default=None)
    return RoomLimit(near=chosen.near, far=far, crop=chosen.crop, fast=chosen.fast)


def _reached_first(limit: Limit) -> float:
    return limit.limit if limit.side is Side.LOW else -limit.limit


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
    return RoomLimit(near=near, far=far, crop=crop, fast=text_limit.fast)
