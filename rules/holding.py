"""What is known of a room between its readings, laid out in time.

A value speaks for its probe from its moment until the probe's next one, but no longer than
:attr:`rules.room_state.Held.until_ms`, as when the room is judged; after that nobody can say. Written for whole
nights of readings: one pass over each probe's, one sort over all that changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from operator import itemgetter
from typing import NamedTuple, TypeAlias

from rules.model import Instant, ProbeId, Quantity, Reading
from rules.room_state import (
    GAPS_KEPT,
    HOLD_INTERVALS,
    LONGEST_HOLD_MS,
    SHORTEST_INTERVAL_MS,
    UNKNOWN_INTERVAL_MS,
)

Change: TypeAlias = tuple[Instant, float | None]
"""From when on a probe says what; ``None``: from then on nobody can say."""


class Step(NamedTuple):
    """A time over which nothing that is known of a room changed. A tuple, as a night has thousands."""

    from_ms: Instant
    to_ms: Instant
    lowest: float | None
    """The lowest value that a probe holds; ``None`` while none does, and then ``highest`` is ``None`` too."""
    highest: float | None


def spoken(readings: Iterable[Reading]) -> dict[ProbeId, list[Change]]:
    """What each probe says, in order of time.

    Args:
        readings: of one quantity, in any order; of several by one probe at one moment the last given counts.

    Raises:
        ValueError: the readings are of several quantities.
    """
    quantity: Quantity | None = None
    by_probe: dict[ProbeId, dict[Instant, float]] = {}
    for reading in readings:
        if reading.quantity is not quantity:
            if quantity is not None:
                raise ValueError("the readings are of several quantities")
            quantity = reading.quantity
        values = by_probe.get(reading.probe)
        if values is None:
            values = by_probe[reading.probe] = {}
        values[reading.at_ms] = reading.value
    return {probe: list(_changes(values)) for probe, values in by_probe.items()}


def _changes(values: Mapping[Instant, float]) -> Iterator[Change]:
    """What one probe says. The hold is that of :class:`rules.room_state.Held`, worked out as it goes along."""
    first_ms, *later = sorted(values)
    gaps: tuple[int, ...] = ()
    hold_ms = _hold_ms(gaps)
    yield first_ms, values[first_ms]
    before_ms = first_ms
    for at_ms in later:
        gap_ms = at_ms - before_ms
        if gap_ms > hold_ms:
            yield before_ms + hold_ms, None
        if gap_ms >= SHORTEST_INTERVAL_MS:
            gone, gaps = gaps[: 1 - GAPS_KEPT], (*gaps[1 - GAPS_KEPT :], gap_ms)
            if gone != (gap_ms,):  # a steady probe need not be measured again and again
                hold_ms = _hold_ms(gaps)
        yield at_ms, values[at_ms]
        before_ms = at_ms
    yield before_ms + hold_ms, None


def _hold_ms(gaps_ms: Sequence[int]) -> int:
    usual = sorted(gaps_ms)[(len(gaps_ms) - 1) // 2] if gaps_ms else UNKNOWN_INTERVAL_MS
    return min(HOLD_INTERVALS * usual, LONGEST_HOLD_MS)


def room_steps(probes: Iterable[Sequence[Change]], *, from_ms: Instant, to_ms: Instant) -> list[Step]:
    """The span, cut wherever one of the probes changes what it says.

    Raises:
        ValueError: the span has no length.
    """
    if to_ms <= from_ms:
        raise ValueError("a span ends after it begins")
    changes = [(at_ms, number, value) for number, said in enumerate(probes) for at_ms, value in said]
    changes.sort(key=itemgetter(0))
    return list(_steps(changes, from_ms, to_ms))


def _steps(
    changes: Iterable[tuple[Instant, int, float | None]], from_ms: Instant, to_ms: Instant
) -> Iterator[Step]:
    """Only one value of a probe holds at a time, so it is enough to remember the newest of each."""
    holding: dict[int, float] = {}
    start_ms, lowest, highest = from_ms, None, None
    for at_ms, number, value in changes:
        if at_ms > start_ms:
            if at_ms >= to_ms:
                break
            values = holding.values()
            lowest, highest = (min(values), max(values)) if values else (None, None)
            yield Step(start_ms, at_ms, lowest, highest)
            start_ms = at_ms
        if value is None:
            holding.pop(number, None)
        else:
            holding[number] = value
    values = holding.values()
    lowest, highest = (min(values), max(values)) if values else (None, None)
    yield Step(start_ms, to_ms, lowest, highest)
