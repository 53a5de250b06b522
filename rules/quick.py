"""How quickly a value changes: how far it is from its innermost value of the last minutes.

A humidifier that has stopped and a door left open both take a room out of its limits; a room that falls eight
points in a quarter of an hour needs somebody sooner than one that drifts. So a text limit may have a shorter wait
while the value is beyond it *and* has come there quickly (OPC 10000-9 (UA Part 9), 5.8.23, has the rate of change
as a condition of its own; here it is a depth of the same alarm, so that one fall makes one text).

What is remembered is one value for each tenth of the time looked back over: the innermost of that tenth. The
tenths lie at fixed moments, so that the answer does not depend on how readings are cut into portions; each is
kept with its moment, so that a limit that looks back over another time still knows how old it is.
"""

from __future__ import annotations

from typing import Final

from rules.model import Instant, Side
from rules.profile import Fast
from rules.room_state import Recent

PARTS: Final = 10


def remembered(recent: Recent, fast: Fast, side: Side, at_ms: Instant, value: float) -> Recent:
    """``recent`` with the value that holds from ``at_ms``, and without what is too old to count."""
    part_ms = fast.within_ms // PARTS
    begins = at_ms - at_ms % part_ms
    if recent and recent[-1][0] == begins:
        last = recent[-1][1]
        inner = max(last, value) if side is Side.LOW else min(last, value)
        return recent if inner == last else (*recent[:-1], (begins, inner))
    return (*(one for one in recent if one[0] > begins - PARTS * part_ms), (begins, value))


def is_quick(recent: Recent, fast: Fast, side: Side, at_ms: Instant, value: float) -> bool:
    """Whether ``value`` is at least :attr:`~rules.profile.Fast.change` further out than it was within the time."""
    part_ms = fast.within_ms // PARTS
    oldest_ms = at_ms - at_ms % part_ms - PARTS * part_ms
    inner = [one[1] for one in recent if one[0] > oldest_ms]
    return any((was - value if side is Side.LOW else value - was) >= fast.change for was in inner)
