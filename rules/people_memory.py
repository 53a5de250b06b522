"""What is remembered of a room's air between two judgements, so that readings may still come late.

People limits are judged up to the present, without waiting for stragglers. So the air of the last minutes is
worked out anew each time, from a *base* that lies a little back; only what is older than the base needs more. What
was told stays told: where readings that came late change the levels of a time already judged, the difference is a
step at the moment up to which we had judged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from rules.model import HOUR_MS, MINUTE_MS, Instant
from rules.people import Level
from rules.people_air import (
    QUARTER_MS,
    REACH_MS,
    Air,
    AirState,
    Step,
    air_from_plain,
    air_to_plain,
    breathe,
    figures,
    is_back,
)

BASE_LAG_MS: Final = 2 * MINUTE_MS
"""How far back the base stays at least: readings that come later than this take us back to an older one."""
OLDER_BASES: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """A room's air as judged so far."""

    base: AirState
    seen_ms: Instant
    """Up to where steps were given out."""
    over: frozenset[Level] = frozenset()
    """The levels passed at that moment, as told."""
    older: tuple[AirState, ...] = ()
    """Bases of up to two hours ago, for readings that come late but not very late."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Caught:
    """A room's air up to the present."""

    memory: Memory
    steps: tuple[Step, ...]
    """Those that were not given out before."""
    present: AirState


def begin(until_ms: Instant, *, seen_ms: Instant, over: frozenset[Level] = frozenset()) -> Memory:
    """Begin (again) from as far back as anything can matter at ``until_ms``.

    ``seen_ms`` and ``over`` are what was told up to now; for a room of which nothing was told, the moment from
    which on something may be.
    """
    from_ms = max(0, (until_ms - REACH_MS) // QUARTER_MS * QUARTER_MS)
    return Memory(base=AirState.unknown(from_ms), seen_ms=max(seen_ms, from_ms), over=over)


def back_to(memory: Memory, at_ms: Instant) -> Memory:
    """Go back to before ``at_ms``, from when on there is something new; as it is where it lies after the base."""
    bases = [base for base in (*memory.older, memory.base) if base.clock_ms < at_ms]
    if not bases:
        return begin(memory.seen_ms, seen_ms=memory.seen_ms, over=memory.over)
    return replace(memory, base=bases[-1], older=tuple(bases[:-1]))


def catch_up(memory: Memory, air: Air, *, until_ms: Instant) -> Caught:
    """Judge up to ``until_ms``.

    Args:
        memory: what was judged before.
        air: as for :func:`rules.people_air.breathe`, reaching back to ``memory.base.clock_ms``.
        until_ms: how far to judge; never back.
    """
    until_ms = max(until_ms, memory.seen_ms)
    base, _ = breathe(memory.base, air, until_ms=(until_ms - BASE_LAG_MS) // MINUTE_MS * MINUTE_MS)
    seen, _ = breathe(memory.base, air, until_ms=memory.seen_ms)
    kept = frozenset(level for level in memory.over - seen.over if not is_back(level, seen, air))
    seen = replace(seen, over=seen.over | kept)
    steps: list[Step] = []
    if seen.over != memory.over:
        steps.append(Step(at_ms=memory.seen_ms, over=seen.over, figures=figures(seen, air)))
    present, later = breathe(seen, air, until_ms=until_ms)
    older = memory.older
    if not older or base.clock_ms - older[-1].clock_ms >= HOUR_MS:
        older = (*older, base)[-OLDER_BASES:]
    after = Memory(base=base, seen_ms=until_ms, over=present.over, older=older)
    return Caught(memory=after, steps=(*steps, *later), present=present)


def memory_to_plain(memory: Memory) -> dict[str, Any]:
    """Write ``memory`` as values that JSON can hold."""
    return {
        "base": air_to_plain(memory.base),
        "seen_ms": memory.seen_ms,
        "over": sorted(memory.over),
        "older": [air_to_plain(base) for base in memory.older],
    }


def memory_from_plain(plain: Mapping[str, Any]) -> Memory:
    """Read back what :func:`memory_to_plain` wrote."""
    return Memory(
        base=air_from_plain(plain["base"]),
        seen_ms=plain["seen_ms"],
        over=frozenset(Level(level) for level in plain["over"]),
        older=tuple(air_from_plain(base) for base in plain["older"]),
    )
