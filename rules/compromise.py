"""What a person stated for a room whose crops have nothing in common, and for how long that stands.

A compromise is stated for a quantity and for the kinds of crop that clash, from a moment on. It stands while the
room holds no other kinds that have a band of that quantity, and while those it holds still have nothing in common.
More blocks of the same kind change nothing. Once the room has a common band again, or another kind comes, it is
over for good: what comes later has to be stated anew.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Final, TypeAlias

from rules.condition import Limit
from rules.limits import Key, RoomLimit, RoomLimits
from rules.model import Instant, Quantity, Side
from rules.profile import Profile
from rules.profile_limits import probe_accuracy
from rules.sharing import Part, Share, sharers, sharing
from rules.stays import ProfileKey, Stay

Shares: TypeAlias = Mapping[Quantity, Share]

_DIGITS: Final = 9
"""Figures are tenths: their sums must be tenths as well, to the last bit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A compromise as somebody stated it."""

    from_ms: Instant
    recorded_ms: Instant
    who: str
    share: Share
    """What was known then: the least bad band, who wants what and what each suffers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A compromise with the time for which it holds."""

    stated: Stated
    to_ms: Instant | None
    """``None``: until further notice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compromises:
    """All that was stated for one room."""

    standing: tuple[Standing, ...] = ()

    def at(self, at_ms: Instant) -> dict[Quantity, Stated]:
        """What stands at a moment, by quantity; of several the one that begins last, then the newest."""
        here = [
            s.stated for s in self.standing if s.stated.from_ms <= at_ms and (s.to_ms is None or at_ms < s.to_ms)
        ]
        return {stated.share.quantity: stated for stated in sorted(here, key=_later)}

    def moments(self) -> set[Instant]:
        """When one begins or ends."""
        ends = {s.to_ms for s in self.standing if s.to_ms is not None}
        return {s.stated.from_ms for s in self.standing} | ends


def follow(
    stated: Iterable[Stated], *, changes: Iterable[Instant], shares_at: Callable[[Instant], Shares]
) -> Compromises:
    """Work out until when each stands.

    Args:
        stated: of one room, any order.
        changes: moments at which its crops change.
        shares_at: what its crops want at a moment.
    """
    ordered = sorted(set(changes))
    return Compromises(standing=tuple(Standing(stated=s, to_ms=_end(s, ordered, shares_at)) for s in stated))


def compromises_in(
    rows: Iterable[Mapping[str, Any]],
    *,
    room_id: str,
    stays: Sequence[Stay],
    profiles: Mapping[ProfileKey, Profile],
) -> Compromises:
    """What was written down for a room (see :func:`stated_rows`), followed through the stays of its batches."""
    return follow(
        stated_rows(rows),
        changes=(stay.from_ms for stay in stays),
        shares_at=lambda at_ms: sharing(sharers(stays, profiles, room_id, at_ms)),
    )


def _end(stated: Stated, changes: Sequence[Instant], shares_at: Callable[[Instant], Shares]) -> Instant | None:
    later = changes[bisect_right(changes, stated.from_ms) :]
    return next((at for at in (stated.from_ms, *later) if not covers(stated, shares_at(at))), None)


def covers(stated: Stated, shares: Shares) -> bool:
    """Whether a compromise is about what now stands in the room."""
    share = shares.get(stated.share.quantity)
    return share is not None and share.clashes and share.kinds <= stated.share.kinds


def with_compromises(limits: RoomLimits, stated: Mapping[Quantity, Stated]) -> RoomLimits:
    """Move text limits that would speak inside a stated band out of it, as far as a limit keeps from any band.

    Crops with nothing in common often have a text limit inside the least bad band: the alarm would open with the
    move and stay. A far limit moves along, so that its depth stays what it was.
    """
    moved = {key: _moved_out(key, held, stated.get(key[0])) for key, held in limits.limits.items()}
    same = all(moved[key] is held for key, held in limits.limits.items())
    return limits if same else replace(limits, limits=moved)


def _moved_out(key: Key, held: RoomLimit, stated: Stated | None) -> RoomLimit:
    edge = None if stated is None else (stated.share.low if key[1] is Side.LOW else stated.share.high)
    if edge is None:
        return held
    outward = -1 if key[1] is Side.LOW else 1
    nearest = edge + outward * (probe_accuracy(key[0], edge) + held.near.recover_margin)
    change = round(nearest - held.near.limit, _DIGITS)
    if change * outward <= 0:
        return held
    far = None if held.far is None else _changed(held.far, change)
    return replace(held, near=_changed(held.near, change), far=far)


def _changed(limit: Limit, change: float) -> Limit:
    return replace(limit, limit=round(limit.limit + change, _DIGITS))


def _later(stated: Stated) -> tuple[Instant, Instant]:
    return stated.from_ms, stated.recorded_ms


def stated_rows(rows: Iterable[Mapping[str, Any]]) -> list[Stated]:
    """What was written down for a room: ``from_ms``, ``recorded_ms``, ``who``, and ``facts`` of the share."""
    return [
        Stated(
            from_ms=row["from_ms"], recorded_ms=row["recorded_ms"], who=row["who"], share=from_facts(row["facts"])
        )
        for row in rows
    ]


def to_facts(share: Share) -> dict[str, Any]:
    """A share as plain values that JSON can hold."""
    return asdict(share)


def from_facts(facts: Mapping[str, Any]) -> Share:
    """The share that :func:`to_facts` made plain, also after a way through JSON."""
    return Share(
        **{
            **facts,
            "quantity": Quantity(facts["quantity"]),
            "low_from": tuple(_kind(key) for key in facts["low_from"]),
            "high_from": tuple(_kind(key) for key in facts["high_from"]),
            "parts": tuple(_part(part) for part in facts["parts"]),
        }
    )


def _kind(key: Sequence[Any]) -> tuple[str, int, str]:
    profile, version, stage = key
    return profile, version, stage


def _part(facts: Mapping[str, Any]) -> Part:
    side = None if facts["side"] is None else Side(facts["side"])
    return Part(**{**facts, "kind": _kind(facts["kind"]), "batches": tuple(facts["batches"]), "side": side})
