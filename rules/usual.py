"""What a room usually shows at this hour, and a text limit that hangs on it.

A band can be wide: a room that always stands at 92 % may fall twenty points and still be inside it, with its
humidifier dead. So a text limit may also say "so far below what this room usually shows at this hour".

*Usual* is a median of medians. A day's hour is sampled once a minute, each time the lowest value that any probe
of the room holds (a low limit is judged by that one too), and the median of those samples is what the room showed
that day; the median over the days is what it usually shows. Minutes, so that an hour counts the same whether a
probe reports every ten seconds or every five minutes; medians, so that neither a door left open for a quarter of
an hour nor one bad day in three moves it. No standard gives such a figure: it is judgement.

Which hours are the same is the farm clock's business: the caller names them as instants, so that days of 23 and
25 hours need nothing here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from rules.limits import Key, RoomLimit, RoomLimits
from rules.model import HOUR_MS, MINUTE_MS, Instant, Quantity, Reading, Side
from rules.profile_limits import probe_accuracy
from rules.room_state import HOLD_INTERVALS, LONGEST_HOLD_MS, UNKNOWN_INTERVAL_MS
from rules.stays import Stay

LEAST_DAYS: Final = 3
"""Fewer like days than this are no habit."""
SAMPLES: Final = HOUR_MS // MINUTE_MS
LEAST_SAMPLES: Final = SAMPLES // 2
"""An hour of which less is known says nothing about its day."""
_TENTHS: Final = 1
"""Probes report tenths; a limit with more digits would be shown otherwise than it is used."""
_DIGITS: Final = 9

Span: TypeAlias = tuple[Instant, Instant]
"""From a moment (inclusive) to another (exclusive)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SameHour:
    """An hour to come, and when the same hour began on the days before."""

    from_ms: Instant
    earlier: tuple[Instant, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """What a room usually shows from one moment to another, hour by hour."""

    quantity: Quantity
    from_ms: Instant
    until_ms: Instant
    steps: tuple[tuple[Instant, float | None], ...]
    """From this moment on it usually shows this value; ``None`` where too few days can say."""

    def covers(self, at_ms: Instant) -> bool:
        """Whether it says anything of a moment."""
        return self.from_ms <= at_ms < self.until_ms

    def at(self, at_ms: Instant) -> float | None:
        """What is usual at a moment; ``None`` where nobody can say, and outside the span."""
        if not self.covers(at_ms):
            return None
        return next((value for from_ms, value in reversed(self.steps) if from_ms <= at_ms), None)


def usual_by_hour(
    readings: Iterable[Reading],
    *,
    quantity: Quantity,
    hours: Sequence[SameHour],
    until_ms: Instant,
    unlike: Iterable[Span] = (),
) -> Usual:
    """Work out what a room usually shows in each of some hours to come.

    Args:
        readings: of the room's probes, in the days before; any order, other quantities are not taken.
        quantity: what is asked about.
        hours: the hours to come, in order, at least one; each with its like on the days before.
        until_ms: when the last of them ends.
        unlike: spans in which the room was not as it is now (another crop or stage, somebody working, limits
            held back); an hour that touches one does not count.

    Returns:
        One step for each hour, to a tenth of the quantity's unit; ``None`` for an hour that fewer than
        :data:`LEAST_DAYS` days know at least half of.
    """
    spans = tuple(unlike)
    like = sorted({at for hour in hours for at in hour.earlier if not _touches(spans, at)})
    showed = _by_hour(_lowest(readings, quantity, _minutes_of(like)), like)
    steps = tuple((hour.from_ms, _middle([showed[at] for at in hour.earlier if at in showed])) for hour in hours)
    return Usual(quantity=quantity, from_ms=hours[0].from_ms, until_ms=until_ms, steps=steps)


def with_usual(limits: RoomLimits, value_by_quantity: Mapping[Quantity, float | None]) -> RoomLimits:
    """Raise the low text limits that hang on what is usual; the others, and all far limits, stay.

    A fixed limit keeps its distance from the band's edge (``rules.profile_limits``). One that hangs on the usual
    may lie above that edge, for there a fall says more than the place where it ends; it keeps that distance from
    the usual value instead: a room that is back where it always stands is back as far as any probe can tell.
    """
    raised = {key: _raised(key, held, value_by_quantity.get(key[0])) for key, held in limits.limits.items()}
    same = all(raised[key] is held for key, held in limits.limits.items())
    return limits if same else replace(limits, limits=raised)


def grown(stays: Iterable[Stay]) -> frozenset[tuple[str, str]]:
    """What a room with these stays grows, as (profile, stage): it is like itself while this is the same."""
    return frozenset((stay.profile[0], stay.stage) for stay in stays)


def _raised(key: Key, held: RoomLimit, usual: float | None) -> RoomLimit:
    text = held.crop.stage.text_limits.get(key)
    if usual is None or key[1] is not Side.LOW or text is None or text.below_usual is None:
        return held
    nearest = probe_accuracy(key[0], usual) + held.near.recover_margin
    limit = round(usual - max(text.below_usual, nearest), _DIGITS)
    if limit <= held.near.limit:
        return held
    return replace(held, near=replace(held.near, limit=limit), usual=usual)


def _touches(spans: Sequence[Span], hour_ms: Instant) -> bool:
    return any(from_ms < hour_ms + HOUR_MS and hour_ms < to_ms for from_ms, to_ms in spans)


def _minutes_of(hours: Sequence[Instant]) -> NDArray[np.int64]:
    starts = np.asarray(hours, dtype=np.int64)
    return (starts[:, None] + np.arange(SAMPLES, dtype=np.int64) * MINUTE_MS).ravel()


def _lowest(readings: Iterable[Reading], quantity: Quantity, moments: NDArray[np.int64]) -> NDArray[np.float64]:
    """The lowest value that any probe holds at each moment; not a number where none does."""
    of_probe: dict[str, dict[Instant, float]] = {}
    for reading in readings:
        if reading.quantity is quantity:
            of_probe.setdefault(reading.probe, {})[reading.at_ms] = reading.value
    lowest = np.full(moments.shape, np.nan)
    for values in of_probe.values():
        lowest = np.fmin(lowest, _held(values, moments))
    return lowest


def _held(values: Mapping[Instant, float], moments: NDArray[np.int64]) -> NDArray[np.float64]:
    """The value that one probe holds at each moment: its last one, for three of its usual intervals."""
    at = np.array(sorted(values), dtype=np.int64)
    value = np.array([values[int(moment)] for moment in at])
    interval_ms = float(np.median(np.diff(at))) if len(at) > 1 else UNKNOWN_INTERVAL_MS
    hold_ms = min(HOLD_INTERVALS * interval_ms, LONGEST_HOLD_MS)
    last = np.searchsorted(at, moments, side="right") - 1
    known = (last >= 0) & (moments - at[last] < hold_ms)
    return np.where(known, value[last], np.nan)


def _by_hour(samples: NDArray[np.float64], hours: Sequence[Instant]) -> dict[Instant, float]:
    """What was shown in each hour that is known well enough."""
    found: dict[Instant, float] = {}
    for hour, row in zip(hours, samples.reshape(-1, SAMPLES), strict=True):
        known = row[~np.isnan(row)]
        if len(known) >= LEAST_SAMPLES:
            found[hour] = float(np.median(known))
    return found


def _middle(days: Sequence[float]) -> float | None:
    return round(median(days), _TENTHS) if len(days) >= LEAST_DAYS else None
