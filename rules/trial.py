"""A limit or a wait tried out: the limits of a room as they would have been with another figure.

Written ``quantity-side=figure``: ``humidity-low=80`` in the unit that is kept (%RH, Cel, ppm), a wait in minutes.
Only figures, never an expression. A limit that is tried holds throughout, whatever the room usually shows; its far
limit, margins and who may be woken stay as they were.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rules.limits import Key, RoomLimit, RoomLimits
from rules.model import EDGES, MINUTE_MS, UNIT, Quantity, Side
from rules.profile_limits import POSSIBLE

LONGEST_WAIT_MINUTES: Final = 24 * 60
_WRITTEN: Final = re.compile(r"(?P<quantity>[a-z0-9_]+)-(?P<side>low|high)=(?P<figure>-?\d+(?:\.\d+)?)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Another figure for one limit; ``None`` leaves that figure as it was."""

    key: Key
    limit: float | None = None
    wait_ms: int | None = None


class TrialError(ValueError):
    """What is to be tried cannot be read. The message says how to write it."""


def read_limit(text: str) -> Trial:
    """Read ``humidity-low=80``.

    Raises:
        TrialError: it is not written so, or the figure is impossible for its quantity.
    """
    key, figure = _read(text)
    low, high = POSSIBLE.get(UNIT.get(key[0], ""), (-math.inf, math.inf))
    if not low <= figure <= high:
        raise TrialError(
            f"{text}: {figure:g} {UNIT.get(key[0], '')} is impossible; from {low:g} to {high:g} can be"
        )
    return Trial(key=key, limit=figure)


def read_wait(text: str) -> Trial:
    """Read ``humidity-low=12``, in minutes.

    Raises:
        TrialError: it is not written so, or is not from 0 minutes to a day.
    """
    key, minutes = _read(text)
    if not 0 <= minutes <= LONGEST_WAIT_MINUTES:
        raise TrialError(f"{text}: a wait is from 0 to {LONGEST_WAIT_MINUTES} minutes")
    return Trial(key=key, wait_ms=round(minutes * MINUTE_MS))


def _read(text: str) -> tuple[Key, float]:
    found = _WRITTEN.fullmatch(text.strip())
    if found is None or found["quantity"] not in set(Quantity):
        sides = " or ".join(f"humidity-{side}=80" for side in EDGES)
        raise TrialError(f"{text}: write a quantity, a side and a figure, like {sides}")
    return (Quantity(found["quantity"]), Side(found["side"])), float(found["figure"])


def tried(schedule: Iterable[RoomLimits], trials: Sequence[Trial]) -> tuple[RoomLimits, ...]:
    """The schedule with the figures that are tried; a limit that the room does not have stays absent."""
    return tuple(_tried(limits, trials) for limits in schedule)


def _tried(limits: RoomLimits, trials: Sequence[Trial]) -> RoomLimits:
    changed = dict(limits.limits)
    for trial in trials:
        if trial.key in changed:
            changed[trial.key] = _with(changed[trial.key], trial)
    return replace(limits, limits=changed)


def _with(limit: RoomLimit, trial: Trial) -> RoomLimit:
    near = limit.near
    if trial.wait_ms is not None:
        near = replace(near, wait_ms=trial.wait_ms)
    if trial.limit is None:
        return replace(limit, near=near)
    return replace(limit, near=replace(near, limit=trial.limit), usual=None)
