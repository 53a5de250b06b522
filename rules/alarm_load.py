"""How much alarms ask of the people who get them: counts, bursts, and what keeps coming back or never leaves.

The figures are those that ANSI/ISA-18.2 (IEC 62682) and EEMUA 191 hold an alarm system to; their targets stand in
:mod:`rules.alarm_targets`. They are for whoever sets limits and waits, never for a grower's page.

Three ways of counting, and which figure uses which:

* *Periods* of 10 minutes, an hour or a day, laid end to end from the beginning of the span: shares, bursts and
  what is stale on a day, as the standards count them. A last, shorter period counts as one.
* A *sliding* window: only the most alarms in any 10 minutes, as two periods can split a burst between them.
* *Averages* divide by the exact length of the span. They hide bursts: 144 alarms in one hour are a fine average
  for a day.

Chattering and fleeting are described in the standards without a figure that we could read. Three times in a minute
is a usual first criterion in open articles (common practice); that fleeting means under a minute is our judgement.
Waits and recover times of minutes make both impossible for limits of a crop, so that one is a fault of ours.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, Instant

Counts: TypeAlias = npt.NDArray[np.int64]

PERIOD_MS: Final = 10 * MINUTE_MS
FLOOD_ABOVE: Final = 10
"""A flood begins with a period of more alarms than this (EEMUA 191 and ISA-18.2, from memory)."""
FLOOD_BELOW: Final = 5
"""It ends with a period of fewer than this (EEMUA 191 and ISA-18.2, from memory)."""
HOUR_ABOVE: Final = 30
STALE_MS: Final = DAY_MS
"""Active without a break for longer than this is stale (ISA-18.2, from memory)."""
CHATTER_TIMES: Final = 3
CHATTER_MS: Final = MINUTE_MS
FLEETING_MS: Final = MINUTE_MS
TOP: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One alarm that was raised, or told to somebody."""

    key: str
    """Which alarm: the same every time it comes back."""
    raised_ms: Instant
    cleared_ms: Instant | None = None
    """``None``: still active at the end of the span."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flood:
    """Alarms faster than anybody can take in. Both ends are edges of periods, or the end of the span."""

    from_ms: Instant
    to_ms: Instant
    alarms: int
    first_period: int
    """Alarms in its first 10 minutes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """All figures of one span; shares are percentages."""

    from_ms: Instant
    to_ms: Instant
    alarms: int
    different: int
    """How many different alarms those were."""
    most_in_a_period: int
    """In one of the periods of 10 minutes laid end to end."""
    most_in_any_10_min: int
    """In any 10 minutes, wherever they begin."""
    share_of_periods_above_10: float
    share_of_hours_above_30: float
    floods: tuple[Flood, ...]
    top_ten: tuple[tuple[str, int], ...]
    chattering: tuple[str, ...]
    fleeting: tuple[str, ...]
    standing_at_end: int
    most_standing: int
    """Most alarms active at once."""
    stale_at_end: int
    most_stale_on_a_day: int

    @property
    def per_day(self) -> float:
        """Alarms a day, on average."""
        return self.alarms * DAY_MS / (self.to_ms - self.from_ms)

    @property
    def per_hour(self) -> float:
        """Alarms an hour, on average."""
        return self.alarms * HOUR_MS / (self.to_ms - self.from_ms)

    @property
    def per_10_min(self) -> float:
        """Alarms in 10 minutes, on average."""
        return self.alarms * PERIOD_MS / (self.to_ms - self.from_ms)

    @property
    def share_of_time_in_flood(self) -> float:
        """Percentage of the span."""
        return 100 * sum(f.to_ms - f.from_ms for f in self.floods) / (self.to_ms - self.from_ms)

    @property
    def top_ten_share(self) -> float | None:
        """Percentage of all alarms that the ten most frequent make; ``None`` when there was no alarm."""
        return 100 * sum(count for _, count in self.top_ten) / self.alarms if self.alarms else None


def alarm_load(told: Iterable[Told], *, from_ms: Instant, to_ms: Instant) -> Load:
    """Work out the figures of a span, from a moment (inclusive) to another (exclusive).

    Args:
        told: the alarms in any order. Those raised before the span and still active in it count as standing and
            stale, never as raised. What was raised at or after the end is left out.
        from_ms: where the span begins.
        to_ms: where it ends.

    Raises:
        ValueError: the span ends before it begins, or an alarm clears before it is raised.
    """
    if to_ms <= from_ms:
        raise ValueError("the span ends before it begins")
    known = sorted((one for one in told if one.raised_ms < to_ms), key=_in_order)
    _check(known)
    raised = [one for one in known if one.raised_ms >= from_ms]
    at_ms = np.array([one.raised_ms for one in raised], dtype=np.int64)
    periods, hours = (_counts(at_ms, from_ms, to_ms, period_ms) for period_ms in (PERIOD_MS, HOUR_MS))
    by_key = Counter(one.key for one in raised)
    active = _active(known, from_ms, to_ms)
    stale = [(max(begin + STALE_MS, from_ms), end) for begin, end in active if is_stale(end - begin)]
    return Load(
        from_ms=from_ms,
        to_ms=to_ms,
        alarms=len(raised),
        different=len(by_key),
        most_in_a_period=int(periods.max()),
        most_in_any_10_min=most_within(at_ms, PERIOD_MS),
        share_of_periods_above_10=share_above(periods, FLOOD_ABOVE),
        share_of_hours_above_30=share_above(hours, HOUR_ABOVE),
        floods=_floods(periods, from_ms, to_ms),
        top_ten=tuple(sorted(by_key.items(), key=lambda item: (-item[1], item[0]))[:TOP]),
        chattering=chattering(raised),
        fleeting=fleeting(raised),
        standing_at_end=sum(end == to_ms for _, end in active),
        most_standing=_most_at_once(active),
        stale_at_end=sum(end == to_ms for _, end in stale),
        most_stale_on_a_day=_most_on_a_day(stale, from_ms, to_ms),
    )


# --- counting -----------------------------------------------------------------------------------------------


def _counts(at_ms: Counts, from_ms: Instant, to_ms: Instant, period_ms: int) -> Counts:
    """How many of the moments (all within the span) fall into each period from the span's beginning."""
    periods = -(-(to_ms - from_ms) // period_ms)
    found: Counts = np.bincount((at_ms - from_ms) // period_ms, minlength=periods)
    return found


def share_above(found: Counts, limit: int) -> float:
    """The percentage of periods with more than ``limit`` alarms; there is at least one period."""
    return 100 * float(np.count_nonzero(found > limit)) / len(found)


def most_within(at_ms: Counts, window_ms: int) -> int:
    """Most of the moments (in order) within a window that may begin anywhere; its end is not part of it."""
    behind = np.searchsorted(at_ms, at_ms + window_ms, side="left")
    return int(np.max(behind - np.arange(len(at_ms)), initial=0))


def periods_in_flood(
    found: Sequence[int] | Counts, *, start_above: int = FLOOD_ABOVE, end_below: int = FLOOD_BELOW
) -> list[bool]:
    """For each period whether it belongs to a flood: from one above the first figure to one below the second.

    The period that ends a flood is not part of it.
    """
    flooded: list[bool] = []
    going_on = False
    for count in found:
        going_on = count >= end_below if going_on else count > start_above
        flooded.append(going_on)
    return flooded


def _floods(found: Counts, from_ms: Instant, to_ms: Instant) -> tuple[Flood, ...]:
    """The floods among periods of 10 minutes from the beginning of a span."""
    marks = np.array([False, *periods_in_flood(found), False])
    edges = np.flatnonzero(marks[1:] != marks[:-1])
    return tuple(
        Flood(
            from_ms=from_ms + int(first) * PERIOD_MS,
            to_ms=min(from_ms + int(behind) * PERIOD_MS, to_ms),
            alarms=int(found[first:behind].sum()),
            first_period=int(found[first]),
        )
        for first, behind in zip(edges[::2], edges[1::2], strict=True)
    )


# --- what keeps coming back ---------------------------------------------------------------------------------


def chattering(raised: Iterable[Told]) -> tuple[str, ...]:
    """The alarms that were raised three times or more within a minute."""
    return tuple(sorted(key for key, ones in _by_key(raised).items() if _chatters(ones)))


def fleeting(raised: Iterable[Told]) -> tuple[str, ...]:
    """The alarms that were once over within a minute and not back within the next, apart from chattering ones."""
    return tuple(
        sorted(key for key, ones in _by_key(raised).items() if _is_fleeting(ones) and not _chatters(ones))
    )


def _chatters(ones: Sequence[Told]) -> bool:
    at_ms = np.array([one.raised_ms for one in ones], dtype=np.int64)
    return most_within(at_ms, CHATTER_MS + 1) >= CHATTER_TIMES


def _is_fleeting(ones: Sequence[Told]) -> bool:
    again = [*(one.raised_ms for one in ones[1:]), None]
    return any(
        one.cleared_ms is not None
        and one.cleared_ms - one.raised_ms < FLEETING_MS
        and (next_ms is None or next_ms - one.cleared_ms > FLEETING_MS)
        for one, next_ms in zip(ones, again, strict=True)
    )


# --- what never leaves --------------------------------------------------------------------------------------


def is_stale(active_ms: int) -> bool:
    """True for an alarm that has been active, without a break, for more than 24 hours."""
    return active_ms > STALE_MS


def _active(known: Sequence[Told], from_ms: Instant, to_ms: Instant) -> list[tuple[Instant, Instant]]:
    """When each alarm was active, as far as it was in the span: its true beginning, its end within the span.

    Two tellings of one alarm while it is active are one time.
    """
    found: list[tuple[Instant, Instant]] = []
    for ones in _by_key(known).values():
        merged: list[tuple[Instant, Instant]] = []
        for one in ones:
            end_ms = to_ms if one.cleared_ms is None else min(one.cleared_ms, to_ms)
            if merged and one.raised_ms < merged[-1][1]:
                merged[-1] = (merged[-1][0], max(merged[-1][1], end_ms))
            else:
                merged.append((one.raised_ms, end_ms))
        found += [(begin, end) for begin, end in merged if end > from_ms]
    return found


def _most_at_once(active: Sequence[tuple[Instant, Instant]]) -> int:
    # At one moment ends come before beginnings: an alarm is not active at the moment it clears.
    steps = sorted([(end, -1) for _, end in active] + [(begin, 1) for begin, _ in active])
    return int(np.max(np.cumsum([step for _, step in steps], dtype=np.int64), initial=0))


def _most_on_a_day(stale: Sequence[tuple[Instant, Instant]], from_ms: Instant, to_ms: Instant) -> int:
    """Most stale alarms present on one of the days counted from the beginning of the span."""
    days = np.zeros(-(-(to_ms - from_ms) // DAY_MS), dtype=np.int64)
    for begin, end in stale:
        days[(begin - from_ms) // DAY_MS : (end - 1 - from_ms) // DAY_MS + 1] += 1
    return int(days.max())


def _by_key(ones: Iterable[Told]) -> Mapping[str, list[Told]]:
    found: dict[str, list[Told]] = defaultdict(list)
    for one in ones:
        found[one.key].append(one)
    return found


def _in_order(one: Told) -> tuple[Instant, str, float]:
    return one.raised_ms, one.key, math.inf if one.cleared_ms is None else one.cleared_ms


def _check(known: Sequence[Told]) -> None:
    for one in known:
        if one.cleared_ms is not None and one.cleared_ms < one.raised_ms:
            raise ValueError(f"{one.key} clears before it is raised")
