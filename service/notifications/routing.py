"""Who is told next. A plain decision: call list, what was told and answered so far, and the time go in.

The first on the list is told at once, or the first two: of what cannot wait for one person to wake (the cooler,
the whole site, danger), and for as long as the first has never answered a text of ours, since nobody may wait for
an answer that cannot come. The others follow by time, sooner when nobody before them can come or be reached.

Whoever does not answer is told again, later by voice where that is set up, and by another way when one fails.
Nobody is told again who said that they cannot, who never answered a text (a second one would say nothing new), or
once somebody is going. A person without any way is passed over.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from rules.model import Instant


class Way(StrEnum):
    """How a person, or the farm as a whole, is told."""

    TEXT = "text"
    VOICE = "voice"
    MAIL = "mail"
    WEBHOOK = "webhook"
    LAMP = "lamp"
    WIDE = "wide"


FARM_WAYS: Final = (Way.WEBHOOK, Way.LAMP, Way.WIDE)
"""Ways that are no person's."""
AT_THE_FARM: Final = "@farm"
"""Stands for the person where a way is no person's; no person can have this id."""
STEPS_A_ROUND: Final = 100
"""More than a call list has lines: the step of a telling is its line, and this more for every time before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the call list."""

    person_id: str
    after_ms: int
    """How long after the first this person is told, if nobody answered."""
    ways: tuple[Way, ...]
    """The usual one first."""
    answers: bool = False
    """Whether an answer of theirs has ever come back by text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One telling to a person."""

    person_id: str
    way: Way
    added_ms: Instant
    may_reach: bool
    """It went out, or may yet."""
    failing: bool = False
    """It still waits, and was tried in vain more than once."""
    called_off: bool = False
    """It never went out, because somebody had answered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How long to wait, and how often to tell."""

    at_once: int
    """How many of the first lines are told at once."""
    again_ms: int
    most_tellings: int
    call_after_ms: int


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
    """Nobody further will be told of this notice, whatever time brings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """One notice on its way down the call list."""

    call_list: Sequence[Line]
    told: Sequence[Told]
    """In the order in which it was told."""
    cannot: Collection[str]
    """People who said that they cannot come."""
    pace: Pace
    began_ms: Instant


def next_step(chain: Chain, *, somebody_is_going: bool, now_ms: Instant) -> Step:
    """Decide whom to tell now.

    Args:
        chain: the notice and all that was done with it.
        somebody_is_going: an answer that ends the chain.
        now_ms: now.
    """
    if somebody_is_going:
        return Step(tell=(), finished=True)
    reachable = _reachable(chain.call_list)
    told = _by_person(chain.told)
    left = [
        (n, line) for n, line in reachable if line.person_id not in told and line.person_id not in chain.cannot
    ]
    new = _first_time(chain, reachable, left, now_ms)
    again = [
        (place, line, way)
        for place, line in reachable
        if line.person_id in told and (way := _again(chain, line, told[line.person_id], now_ms)) is not None
    ]
    tell = [(place, line, line.ways[0]) for place, line in new] + again
    rounds = {person: len([t for t in chain.told if t.person_id == person]) for person in _people(chain.told)}
    done = len(new) == len(left) and not again
    return Step(
        tell=tuple(
            Tell(step=place + STEPS_A_ROUND * rounds.get(line.person_id, 0), person_id=line.person_id, way=way)
            for place, line, way in tell
        ),
        finished=done and not any(_may_be_told_again(chain, line, told) for _, line in reachable),
    )


def _reachable(call_list: Sequence[Line]) -> list[tuple[int, Line]]:
    """Lines with their places; where a person stands twice, the first counts."""
    first: dict[str, tuple[int, Line]] = {}
    for place, line in enumerate(call_list):
        if line.ways:
            first.setdefault(line.person_id, (place, line))
    return list(first.values())


def _first_time(
    chain: Chain, reachable: Sequence[tuple[int, Line]], left: Sequence[tuple[int, Line]], now_ms: Instant
) -> list[tuple[int, Line]]:
    at_once = {place for place, _ in reachable[: chain.pace.at_once]}
    new = [(n, line) for n, line in left if n in at_once or now_ms - chain.began_ms >= line.after_ms]
    return new or list(left[: 0 if _somebody_may_come(chain, reachable) else 1])


def _somebody_may_come(chain: Chain, reachable: Sequence[tuple[int, Line]]) -> bool:
    """Whether a telling may have woken somebody. A mail that stands in for a text that failed wakes nobody."""
    by_mail = {line.person_id for _, line in reachable if line.ways[0] is Way.MAIL}
    return any(
        t.may_reach and t.person_id not in chain.cannot and (t.way is not Way.MAIL or t.person_id in by_mail)
        for t in chain.told
    )


def _again(chain: Chain, line: Line, told: Sequence[Told], now_ms: Instant) -> Way | None:
    """By which way a person who was told before is told once more now; ``None`` when they are not."""
    if line.person_id in chain.cannot:
        return None
    untried = [way for way in line.ways if way not in {t.way for t in told}]
    reached = _reached(told)
    other = untried[0] if untried else None
    if not reached:
        return other
    # What failed counts as well: a way that is down now must not fill up with repeats for later.
    if now_ms - max(t.added_ms for t in told) < chain.pace.again_ms:
        return None
    call = Way.VOICE in line.ways and now_ms - chain.began_ms >= chain.pace.call_after_ms
    if call and Way.VOICE in untried:
        return Way.VOICE
    if not line.answers or _is_enough(chain, told):
        return None
    way = Way.VOICE if call and Way.VOICE in {t.way for t in reached} else reached[-1].way
    # Two that wait for the same gateway would come at once.
    return other if way in {t.way for t in told if t.failing} else way


def _may_be_told_again(chain: Chain, line: Line, told: Mapping[str, Sequence[Told]]) -> bool:
    """Whether time alone can bring this person another telling."""
    mine = told.get(line.person_id, ())
    if line.person_id in chain.cannot or not _reached(mine):
        return False
    to_call = Way.VOICE in line.ways and Way.VOICE not in {t.way for t in mine}
    return to_call or (line.answers and not _is_enough(chain, mine))


def _reached(told: Sequence[Told]) -> list[Told]:
    return [t for t in told if t.may_reach and not t.failing]


def _is_enough(chain: Chain, told: Sequence[Told]) -> bool:
    """Whether a person was told as often as may be, repeats that failed among them."""
    ways = {t.way for t in _reached(told)}
    return len([t for t in told if t.way in ways]) >= chain.pace.most_tellings


def _by_person(told: Sequence[Told]) -> dict[str, list[Told]]:
    """What counts of what was told, by person: what was called off before it went out does not."""
    counted = [t for t in told if not t.called_off]
    return {person: [t for t in counted if t.person_id == person] for person in _people(counted)}


def _people(told: Sequence[Told]) -> set[str]:
    return {t.person_id for t in told}
