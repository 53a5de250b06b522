"""Who is told next. A plain decision: call list, what was tried and answered so far, and the time go in.

The first two on the list are told at once: until a full send-and-reply round trip has been seen, nobody may wait
for an answer that cannot come. The others follow by time, sooner when nobody before them can come or be reached,
and nobody further once somebody is going. A person without a phone number or address is passed over.
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
    VOICE = "voice"
    WEBHOOK = "webhook"
    LAMP = "lamp"
    WIDE = "wide"


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


def is_night(minute: int, *, evening_minute: int, morning_minute: int) -> bool:
    """Whether the call list of the night holds at a minute of the farm's day: evening round to morning round."""
    if evening_minute > morning_minute:
        return minute >= evening_minute or minute < morning_minute
    return evening_minute <= minute < morning_minute


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
        told: people who were told (or are being told), and whether one of them may still come: it may have reached
            them, and they did not say that they cannot.
        somebody_is_going: an answer that stops the chain.
        began_ms: when the notice was made.
        now_ms: now.
    """
    if somebody_is_going:
        return Step(tell=(), finished=True)
    reachable = [(step, line) for step, line in enumerate(call_list) if line.ways]
    left = [(step, line) for step, line in reachable if line.person_id not in told]
    at_once = {step for step, _ in reachable[:AT_ONCE]}
    new = [(step, line) for step, line in left if step in at_once or now_ms - began_ms >= line.after_ms]
    if not new and not any(told.values()):
        new = left[:1]
    tell = tuple(Tell(step=step, person_id=line.person_id, way=way) for step, line in new for way in line.ways)
    return Step(tell=tell, finished=len(new) == len(left))
