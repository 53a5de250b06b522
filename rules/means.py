"""Time-weighted means of readings that came at irregular moments.

A plain mean counts readings, and a probe that speaks more often while something happens would count those minutes
several times. Here every value counts for the time it stands for. There are two ways to say what it stands for:

* *Hold last* (:func:`hold_last_mean`): a value stands until the next one. This is the way of whatever is judged or
  added up as it happens, as nothing there may depend on a reading that is still to come. The averages of the
  people limits (:mod:`rules.people_air`) and the drying dose (:mod:`rules.drying_dose`) are such means, kept in
  forms of their own; tests hold them to this one.
* *Trapezoid* (:func:`trapezoid_mean`): a straight line from one reading to the next. Used for what is told about
  a time that is over: both ends are known, and the mean does not lag by half an interval as that of held values.

Neither way guesses across silence. A hold and a line each have a longest length; time beyond it is unknown, and
the mean says for how much of the span it speaks. The mean of a time of which nothing is known is ``None``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

from rules.model import Instant

Sample: TypeAlias = tuple[Instant, float]
"""When, and what was measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """The mean of the known part of a span, in the unit of its samples."""

    from_ms: Instant
    to_ms: Instant
    value: float
    known_ms: int
    """How much of the span it speaks for; never 0."""

    @property
    def coverage(self) -> float:
        """Known share of the span, above 0 and up to 1."""
        return self.known_ms / (self.to_ms - self.from_ms)


def hold_last_mean(
    samples: Iterable[Sample], *, from_ms: Instant, to_ms: Instant, longest_hold_ms: int | None = None
) -> Mean | None:
    """The mean of ``from_ms`` to ``to_ms`` where each value stands until the next one.

    Args:
        samples: of one series, in any order; those before the span tell what held at its beginning. Of several
            at one moment the first counts, as it does when readings are recorded.
        from_ms: beginning of the span.
        to_ms: its end, exclusive; the last value stands until then.
        longest_hold_ms: a value stands no longer than this; ``None``: however long the next one takes.

    Raises:
        ValueError: the span has no length, a longest hold is not positive, or a value is not finite.
    """
    _check(from_ms, to_ms, longest_hold_ms)
    ordered = _in_order(samples)
    following = [*(at_ms for at_ms, _ in ordered[1:]), max(to_ms, ordered[-1][0])] if ordered else []
    return _mean(_held(ordered, following, longest_hold_ms, from_ms, to_ms), from_ms, to_ms)


def trapezoid_mean(
    samples: Iterable[Sample], *, from_ms: Instant, to_ms: Instant, longest_gap_ms: int | None = None
) -> Mean | None:
    """The mean of ``from_ms`` to ``to_ms`` where a straight line leads from each value to the next.

    Args:
        samples: of one series, in any order; those outside the span tell where a line that crosses its ends
            comes from and leads to. Before the first and after the last sample nothing is known.
        from_ms: beginning of the span.
        to_ms: its end, exclusive.
        longest_gap_ms: no line is drawn between samples farther apart; ``None``: it always is.

    Raises:
        ValueError: the span has no length, a longest gap is not positive, or a value is not finite.
    """
    _check(from_ms, to_ms, longest_gap_ms)
    return _mean(_under_lines(_in_order(samples), longest_gap_ms, from_ms, to_ms), from_ms, to_ms)


def _check(from_ms: Instant, to_ms: Instant, longest_ms: int | None) -> None:
    if to_ms <= from_ms:
        raise ValueError("a span ends after it begins")
    if longest_ms is not None and longest_ms <= 0:
        raise ValueError(f"the longest hold or gap is {longest_ms} ms; it must be above 0")


def _in_order(samples: Iterable[Sample]) -> list[Sample]:
    first: dict[Instant, float] = {}
    for at_ms, value in samples:
        if not math.isfinite(value):
            raise ValueError(f"the value at {at_ms} is not a finite number")
        first.setdefault(at_ms, value)
    return sorted(first.items())


def _held(
    ordered: Sequence[Sample],
    following: Sequence[Instant],
    longest_ms: int | None,
    from_ms: Instant,
    to_ms: Instant,
) -> Iterator[tuple[int, float]]:
    """For how long each value stands within the span, and the value."""
    for (at_ms, value), next_ms in zip(ordered, following, strict=True):
        until_ms = next_ms if longest_ms is None else min(next_ms, at_ms + longest_ms)
        length_ms = min(until_ms, to_ms) - max(at_ms, from_ms)
        if length_ms > 0:
            yield length_ms, value


def _under_lines(
    ordered: Sequence[Sample], longest_ms: int | None, from_ms: Instant, to_ms: Instant
) -> Iterator[tuple[int, float]]:
    """For how long each line runs within the span, and its middle there."""
    for (at_ms, value), (next_ms, next_value) in pairwise(ordered):
        start_ms, end_ms = max(at_ms, from_ms), min(next_ms, to_ms)
        if end_ms <= start_ms or (longest_ms is not None and next_ms - at_ms > longest_ms):
            continue
        along = ((start_ms - at_ms) + (end_ms - at_ms)) / (2 * (next_ms - at_ms))
        yield end_ms - start_ms, value + along * (next_value - value)


def _mean(parts: Iterable[tuple[int, float]], from_ms: Instant, to_ms: Instant) -> Mean | None:
    lengths, products = [], []
    for length_ms, value in parts:
        lengths.append(length_ms)
        products.append(length_ms * value)
    known_ms = sum(lengths)
    if not known_ms:
        return None
    return Mean(from_ms=from_ms, to_ms=to_ms, value=math.fsum(products) / known_ms, known_ms=known_ms)
