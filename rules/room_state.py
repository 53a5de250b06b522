"""What is remembered of a room between two judgements, and how it is written down.

The state is everything that judging needs besides new readings: folding it over readings in two steps gives the
same as in one. It is kept as JSON beside the room, so it must survive a round trip unchanged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final, TypeAlias

from rules.condition import Phase, Watch
from rules.limits import Key
from rules.model import MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Side

LONGEST_HOLD_MS: Final = 15 * MINUTE_MS
"""However slow a probe is, its last value does not speak for the room longer than this."""
HOLD_INTERVALS: Final = 3
UNKNOWN_INTERVAL_MS: Final = 5 * MINUTE_MS
"""Taken as the usual interval of a probe that was heard only once."""
GAPS_KEPT: Final = 5
SHORTEST_INTERVAL_MS: Final = 5 * SECOND_MS
"""Readings closer together are one report: a probe heard by two gateways, or bare numbers that had queued up."""

Recent: TypeAlias = tuple[tuple[Instant, float], ...]
"""What a quantity was at its innermost in each short span of the last minutes: (begin of the span, value)."""


@lru_cache(maxsize=4096)
def _hold_ms(gaps_ms: tuple[int, ...]) -> int:
    """How long a value speaks for its probe, after the gaps between its last readings."""
    usual = sorted(gaps_ms)[(len(gaps_ms) - 1) // 2] if gaps_ms else UNKNOWN_INTERVAL_MS
    return min(HOLD_INTERVALS * usual, LONGEST_HOLD_MS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The last value of one probe and quantity, and the gaps between its last readings."""

    value: float
    at_ms: Instant
    gaps_ms: tuple[int, ...] = ()
    expired: bool = False

    @property
    def until_ms(self) -> Instant:
        """The first moment at which the value no longer speaks for the room."""
        return self.at_ms + _hold_ms(self.gaps_ms)

    def followed_by(self, value: float, at_ms: Instant) -> Held:
        """The held value after a newer reading."""
        gap_ms = at_ms - self.at_ms
        gaps = self.gaps_ms if gap_ms < SHORTEST_INTERVAL_MS else (*self.gaps_ms[1 - GAPS_KEPT :], gap_ms)
        return Held(value=value, at_ms=at_ms, gaps_ms=gaps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One limit of a room: its two depths, and the stretch that is under way."""

    near: Watch
    far: Watch
    began_ms: Instant
    """When the value first went beyond the limit in this stretch."""
    first_value: float | None = None
    worst: float | None = None
    fast_since_ms: Instant | None = None
    """Since when the value is beyond the limit and has changed quickly."""
    raised_ms: Instant | None = None
    """When the limit was passed for its whole wait; ``None`` while it is not."""
    deepened: bool = False
    held: bool = False
    """There is, or was, something to say, and it is held back: the alarm is shelved or suppressed."""
    over_ms: Instant | None = None
    """When the last alarm of this limit was told to be over."""

    @property
    def is_open(self) -> bool:
        """True while the limit is passed, told or held back."""
        return self.raised_ms is not None

    @property
    def is_told(self) -> bool:
        """True while the alarm of this limit is open: passed, and not held back."""
        return self.raised_ms is not None and not self.held

    @classmethod
    def quiet(cls, at_ms: Instant) -> Track:
        """A limit that nothing is known against."""
        inside = Watch(phase=Phase.INSIDE, since_ms=at_ms)
        return cls(near=inside, far=inside, began_ms=at_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomState:
    """A room as judged up to and including ``clock_ms``."""

    clock_ms: Instant
    fingerprint: str = ""
    """:attr:`rules.limits.RoomLimits.fingerprint` of the limits that the tracks were judged by."""
    held: Mapping[tuple[ProbeId, Quantity], Held] = field(default_factory=dict)
    tracks: Mapping[Key, Track] = field(default_factory=dict)
    recent: Mapping[Key, Recent] = field(default_factory=dict)
    """Only of limits that look at how quickly a value changes."""
    next_ms: Instant = 0
    """Before this moment nothing happens by itself: no wait ends, no value expires. May be too early."""


def to_plain(state: RoomState) -> dict[str, Any]:
    """Write ``state`` as values that JSON can hold."""
    return {
        "clock_ms": state.clock_ms,
        "fingerprint": state.fingerprint,
        "held": [[probe, quantity.value, _plain_held(h)] for (probe, quantity), h in state.held.items()],
        "tracks": [[q.value, side.value, _plain_track(t)] for (q, side), t in state.tracks.items()],
        "recent": [[q.value, side.value, [list(one) for one in r]] for (q, side), r in state.recent.items()],
        "next_ms": state.next_ms,
    }


def from_plain(plain: Mapping[str, Any]) -> RoomState:
    """Read back what :func:`to_plain` wrote."""
    return RoomState(
        clock_ms=plain["clock_ms"],
        fingerprint=plain["fingerprint"],
        held={(ProbeId(p), Quantity(q)): _held(h) for p, q, h in plain["held"]},
        tracks={(Quantity(q), Side(s)): _track(t) for q, s, t in plain["tracks"]},
        recent={(Quantity(q), Side(s)): tuple((n, v) for n, v in r) for q, s, r in plain["recent"]},
        next_ms=plain["next_ms"],
    )


# Written out field by field: copying dataclasses by reflection took most of a judgement's time.
def _plain_held(held: Held) -> dict[str, Any]:
    return {"value": held.value, "at_ms": held.at_ms, "gaps_ms": list(held.gaps_ms), "expired": held.expired}


def _plain_track(track: Track) -> dict[str, Any]:
    return {
        "near": _plain_watch(track.near),
        "far": _plain_watch(track.far),
        "began_ms": track.began_ms,
        "first_value": track.first_value,
        "worst": track.worst,
        "fast_since_ms": track.fast_since_ms,
        "raised_ms": track.raised_ms,
        "deepened": track.deepened,
        "held": track.held,
        "over_ms": track.over_ms,
    }


def _plain_watch(watch: Watch) -> dict[str, Any]:
    return {"phase": watch.phase.value, "since_ms": watch.since_ms}


def _held(plain: Mapping[str, Any]) -> Held:
    return Held(**{**plain, "gaps_ms": tuple(plain["gaps_ms"])})


def _track(plain: Mapping[str, Any]) -> Track:
    return Track(**{**plain, "near": _watch(plain["near"]), "far": _watch(plain["far"])})


def _watch(plain: Mapping[str, Any]) -> Watch:
    return Watch(phase=Phase(plain["phase"]), since_ms=plain["since_ms"])
