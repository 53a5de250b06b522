"""Quick changes over arrays of history: what is remembered after a span, and where a change may be quick.

The same as :mod:`rules.quick` value by value, which it asks once for each short part of the time.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rules.history import Line, Moments, Values
from rules.model import Instant, Side
from rules.profile import Fast
from rules.quick import PARTS, remembered
from rules.room_state import Recent


def reaches_back_to(fast: Fast, newest_ms: Instant) -> Instant:
    """What is remembered after a value of ``newest_ms`` depends on nothing up to this moment."""
    part_ms = fast.within_ms // PARTS
    return (newest_ms // part_ms - PARTS + 1) * part_ms - 1


def remembered_over(recent: Recent, fast: Fast, side: Side, at_ms: Moments, value: Values) -> Recent:
    """``recent`` after all values of a span, which is in order of time."""
    if not at_ms.size:
        return recent
    part_ms = fast.within_ms // PARTS
    parts = at_ms // part_ms
    begins = np.flatnonzero(np.append(True, parts[1:] != parts[:-1]))
    innermost = (np.maximum if side is Side.LOW else np.minimum).reduceat(value, begins)
    for part, inner in zip(parts[begins].tolist(), innermost.tolist(), strict=True):
        recent = remembered(recent, fast, side, part * part_ms, inner)
    return recent


def farthest_out(lines: Sequence[Line], spans: Sequence[tuple[int, int]], side: Side) -> tuple[Moments, Values]:
    """The room's value at each reading of a span, in which no probe falls silent.

    Args:
        lines: of one quantity; each has a reading before its span.
        spans: first reading and end (exclusive) in each line.
        side: which probe is farthest out.
    """
    if len(lines) == 1:
        return lines[0].at_ms[slice(*spans[0])], lines[0].value[slice(*spans[0])]
    times = np.unique(np.concatenate([line.at_ms[slice(*span)] for line, span in zip(lines, spans, strict=True)]))
    return times, (np.minimum if side is Side.LOW else np.maximum).reduce([line.value_at(times) for line in lines])


def first_quick_ms(
    lines: Sequence[Line], recent: Recent, fast: Fast, side: Side, until_ms: Instant
) -> Instant | None:
    """The first reading before ``until_ms`` that may be a quick change; before it there is none.

    Counted from the innermost value of the whole time, so it need not be one. ``None``: none may be.
    """
    ends = [line.count_until(until_ms - 1) for line in lines]
    runs = [line.value[line.index : end] for line, end in zip(lines, ends, strict=True)]
    held = np.array([line.held.value for line in lines if line.held is not None])
    known = np.concatenate([held, *runs, np.array([value for _, value in recent])])
    inner = known.max() if side is Side.LOW else known.min()
    quick = [_is_out(side, inner, run, fast) for run in [held, *runs]]
    if quick[0].any():
        quick[1:] = [np.ones_like(one) for one in quick[1:]]
    moments = [
        int(line.at_ms[line.index + np.argmax(one)])
        for line, one in zip(lines, quick[1:], strict=True)
        if one.any()
    ]
    return min(moments, default=None)


def _is_out(side: Side, inner: float, values: Values, fast: Fast) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    result = (inner - values if side is Side.LOW else values - inner) >= fast.change
    return np.asarray(result, dtype=np.bool_)
