"""From exact stretches to what is worth a sentence.

A room that cycles around its band's edge would fill a page with minutes. So stretches of one side with little
between them are one dip; a dip that is short, or no deeper than a probe may be off, is only counted. Whatever
passed the text limit is told, however short.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from rules.exposure import BandFrom, Exposure, Stretch, exposure_of
from rules.holding import room_steps, spoken
from rules.model import EDGES, MINUTE_MS, Instant, ProbeId, Quantity, Reading, Side
from rules.profile_limits import probe_accuracy
from service.storage.nights import Heard

JOIN_MS: Final = 10 * MINUTE_MS
"""Shorter times inside do not end a dip (our judgement: a humidifier's cycle)."""
SHORTEST_MS: Final = 5 * MINUTE_MS
"""A shorter dip is only counted (our judgement: somebody went through the door)."""
UNWATCHED_MS: Final = 30 * MINUTE_MS
"""Where nobody would be woken, a dip needs this long (our judgement: longer than a cooler's defrost)."""
LATE_MS: Final = 10 * MINUTE_MS
"""We learned of a dip late when its first reading outside took longer than this to reach us."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dip:
    """One time outside the band, as people would tell it; stretches with little between them are one."""

    quantity: Quantity
    side: Side
    from_ms: Instant
    to_ms: Instant | None
    """``None`` while it is still outside at the end of the span."""
    last_ms: Instant
    worst: float
    worst_ms: Instant
    worst_probe: ProbeId | None
    depth: float
    edge: float
    """The band's edge where it was passed furthest."""
    outside_ms: int
    area: float
    times: int
    """Of how many stretches it is made."""
    limit: float | None
    """The text limit of that side at the worst moment."""
    past_from_ms: Instant | None
    """When the text limit was first passed; ``None`` if it was not."""
    past_ms: int
    """Time past the text limit."""
    learned_ms: Instant | None
    """When we first heard of it, if that was late."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outside:
    """All of a span of one quantity: dips worth a sentence, and the rest as a count."""

    dips: tuple[Dip, ...]
    brief_times: int
    brief_ms: int
    exposure: Exposure


def outside(
    heard: Sequence[Heard],
    *,
    quantity: Quantity,
    bands: Sequence[BandFrom],
    limits: Sequence[BandFrom],
    from_ms: Instant,
    to_ms: Instant,
) -> Outside:
    """Find the dips of one quantity of one room."""
    steps = room_steps(spoken(h.reading for h in heard).values(), from_ms=from_ms, to_ms=to_ms)
    found = exposure_of(steps, bands=bands)
    # A text limit lies outside the band, so a quiet night need not be gone through twice.
    past = exposure_of(steps, bands=limits).stretches if found.stretches else ()
    dips = [
        _dip(group, quantity, heard, limits, past)
        for side in EDGES
        for group in _joined([s for s in found.stretches if s.side is side])
    ]
    told = [dip for dip in dips if _worth_telling(dip)]
    brief = [dip for dip in dips if not _worth_telling(dip)]
    return Outside(
        dips=tuple(sorted(told, key=lambda d: d.from_ms)),
        brief_times=sum(dip.times for dip in brief),
        brief_ms=sum(dip.outside_ms for dip in brief),
        exposure=found,
    )


def _joined(stretches: Iterable[Stretch]) -> list[list[Stretch]]:
    groups: list[list[Stretch]] = []
    for stretch in stretches:
        before = groups[-1][-1] if groups else None
        if before is not None and before.to_ms is not None and stretch.from_ms - before.to_ms < JOIN_MS:
            groups[-1].append(stretch)
        else:
            groups.append([stretch])
    return groups


def _worth_telling(dip: Dip) -> bool:
    if dip.past_from_ms is not None:
        return True
    shortest = UNWATCHED_MS if dip.limit is None else SHORTEST_MS
    return dip.outside_ms >= shortest and dip.depth > probe_accuracy(dip.quantity, dip.edge)


def _dip(
    group: Sequence[Stretch],
    quantity: Quantity,
    heard: Sequence[Heard],
    limits: Sequence[BandFrom],
    past: Sequence[Stretch],
) -> Dip:
    first, last = group[0], group[-1]
    worst = max(group, key=lambda s: s.depth)
    edge = worst.worst + worst.depth if first.side is Side.LOW else worst.worst - worst.depth
    within = [p for p in past if p.side is first.side and first.from_ms <= p.from_ms < last.last_ms]
    limit = next((step for step in reversed(limits) if step.from_ms <= worst.worst_ms), None)
    return Dip(
        quantity=quantity,
        side=first.side,
        from_ms=first.from_ms,
        to_ms=last.to_ms,
        last_ms=last.last_ms,
        worst=worst.worst,
        worst_ms=worst.worst_ms,
        worst_probe=_who_measured(worst, heard),
        depth=worst.depth,
        edge=round(edge, 6),
        outside_ms=sum(s.outside_ms for s in group),
        area=sum(s.area for s in group),
        times=len(group),
        limit=None if limit is None else limit.edge(first.side),
        past_from_ms=within[0].from_ms if within else None,
        past_ms=sum(p.outside_ms for p in within),
        learned_ms=_learned_late(heard, first.side, edge, first.from_ms, last.last_ms),
    )


def _who_measured(worst: Stretch, heard: Sequence[Heard]) -> ProbeId | None:
    same = [h.reading for h in heard if h.reading.at_ms <= worst.worst_ms and h.reading.value == worst.worst]
    newest = max(same, key=_moment, default=None)
    return None if newest is None else newest.probe


def _moment(reading: Reading) -> Instant:
    return reading.at_ms


def _learned_late(
    heard: Sequence[Heard], side: Side, edge: float, from_ms: Instant, to_ms: Instant
) -> Instant | None:
    came = [
        h.received_ms
        for h in heard
        if from_ms <= h.reading.at_ms < to_ms
        and (h.reading.value < edge if side is Side.LOW else h.reading.value > edge)
    ]
    first = min(came, default=None)
    return first if first is not None and first - from_ms > LATE_MS else None
