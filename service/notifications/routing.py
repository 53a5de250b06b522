"""Who is told next. A plain decision: call list, what was tried and answered so far, and the time go in.

The first two on the list are told at once: until a full send-and-reply round trip has been seen, nobody may wait
for an answer that cannot come. The others follow by time, sooner when nobody before them could be reached at all,
and nobody further once somebody is going.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from rules.model import Instant

AT_ONCE: Final = 2


class Way(StrEnum):
    """How a person is told."""

    TEXT = "text"
    MAIL = "mail"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the call list."""

    person_id: str
    after_ms: int
    """How long after the first this person is told, if nobody answered."""
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tell:
    """One telling to add."""

    step: int
    person_id: str
    way: Way


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What to do now."""

    tell: tuple[Tell, ...]
    finished: bool
    """Nobody further will be told of this notice."""


def next_step(
    call_list: Sequence[Line],
    told: Mapping[str, bool],
    *,
    somebody_is_going: bool,
    began_ms: Instant,
    now_ms: Instant,
) -> Step:
    """Decide whom to tell now.

    Args:
        call_list: in order.
        told: people who were told (or are being told), and whether that may still have reached them.
        somebody_is_going: an answer that stops the chain.
        began_ms: when the notice was made.
        now_ms: now.
    """
    if somebody_is_going:
        return Step(tell=(), finished=True)
    due = [line for n, line in enumerate(call_list) if n < AT_ONCE or now_ms - began_ms >= line.after_ms]
    new = [line for line in due if line.person_id not in told]
    if not new and not any(told.values()):
        new = [line for line in call_list if line.person_id not in told][:1]
    tell = tuple(
        Tell(step=step, person_id=line.person_id, way=way)
        for step, line in enumerate(call_list)
        if line in new
        for way in line.ways
    )
    everybody = {line.person_id for line in call_list} <= told.keys() | {t.person_id for t in tell}
    return Step(tell=tell, finished=everybody)
