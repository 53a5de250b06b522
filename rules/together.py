"""Which of the rooms' troubles are one failure of the whole farm, and when that is over.

A power cut or a dry water line reaches every room within minutes. Told room by room it would be a storm of texts
in which nobody finds the cause; told as one it names the cause to look at first. What is not clearly one failure
stays what it was: each room for itself. All figures are judgement; the farm sets its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, TypeAlias

from rules.model import MINUTE_MS, Instant, Quantity, Side

FEWEST: Final = 2
"""One room is never the whole farm."""
LEFT_MS: Final = 20 * MINUTE_MS
"""Most rooms are back for so long: whoever was woken hears which ones are not (judgement)."""

Kind: TypeAlias = tuple[Quantity, Side]


class Likely(StrEnum):
    """Where to look first, in words of the trade."""

    POWER = "power"
    GENERATOR = "generator"
    """The mains are off, and the generator says that it does not run."""
    TRANSFER = "transfer switch"
    """The mains are off and the generator runs, and rooms are in trouble all the same."""
    WATER = "water supply"
    FRESH_AIR = "fresh air"
    HEAT = "heat"
    COLD = "cold"
    UNCLEAR = "unclear"


_LIKELY: Final[Mapping[Kind, Likely]] = {
    (Quantity.HUMIDITY, Side.LOW): Likely.WATER,
    (Quantity.CO2, Side.HIGH): Likely.FRESH_AIR,
    (Quantity.TEMPERATURE, Side.HIGH): Likely.HEAT,
    (Quantity.TEMPERATURE, Side.LOW): Likely.COLD,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """One room's limit that was passed, and whether somebody was told of it already."""

    room: str
    quantity: Quantity
    side: Side
    at_ms: Instant
    told: bool = False

    @property
    def kind(self) -> Kind:
        """What is wrong, whichever room it is in."""
        return (self.quantity, self.side)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contacts:
    """What the farm's contacts say now; ``None`` where there is none, or it was not heard for long."""

    mains: bool | None = None
    generator: bool | None = None
    water_pressure: bool | None = None

    @property
    def power_is_off(self) -> bool:
        """The mains contact says so: a contact outranks what could be concluded from the air."""
        return self.mains is False


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """How many rooms within how long are the whole farm."""

    rooms: int
    within_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """Troubles that are one failure."""

    troubles: tuple[Trouble, ...]
    """In order of time, at most one to a room."""
    power: bool
    """The mains are off; the rooms may then be in trouble of different kinds."""
    likely: Likely
    known: bool
    """A contact says so; otherwise it is only likely."""

    @property
    def kind(self) -> Kind | None:
        """The trouble that the rooms share; with the mains off it is whatever comes first in each."""
        return None if self.power else self.troubles[0].kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Ongoing:
    """A failure of the whole farm that was told and goes on."""

    kind: Kind | None
    """``None``: the mains are off."""
    last_ms: Instant
    """When the newest of its rooms passed its limit."""
    rooms: frozenset[str]
    back: frozenset[str] = frozenset()
    """Rooms of which people heard that they are back: what befalls one of these now is news."""


class Over(StrEnum):
    """What can be told of the end of a failure."""

    NOT_YET = "not yet"
    MOST = "most rooms are back"
    ALL = "all rooms are back"


def measure(*, rooms: int, within_ms: int, farm_rooms: int) -> Measure:
    """So many rooms as the farm says; all of them where it has fewer, but never one alone.

    Args:
        rooms: the farm's figure.
        within_ms: within how long.
        farm_rooms: how many rooms the farm grows in.
    """
    return Measure(rooms=max(FEWEST, min(rooms, farm_rooms)), within_ms=within_ms)


def together(troubles: Iterable[Trouble], *, contacts: Contacts, by: Measure) -> tuple[Failure, ...]:
    """Find the failures of the whole farm among the rooms' troubles, the one with most rooms first.

    Every failure has a room that nobody was told of yet. What was told already counts towards the number of rooms.
    A room is in one failure at most; what is in none goes on alone.
    """
    left = sorted(troubles, key=_order)
    found: list[Failure] = []
    if contacts.power_is_off:
        found += [_failure(group, contacts, power=True) for group in _groups(left, by)]
    for kind in sorted({trouble.kind for trouble in left}):
        taken = {trouble.room for failure in found for trouble in failure.troubles}
        alike = [trouble for trouble in left if trouble.kind == kind and trouble.room not in taken]
        found += [_failure(group, contacts, power=False) for group in _groups(alike, by)]
    return tuple(sorted(found, key=lambda failure: (-len(failure.troubles), failure.troubles[0].at_ms)))


def joins(trouble: Trouble, ongoing: Ongoing, *, contacts: Contacts, by: Measure) -> bool:
    """Whether one more room's trouble belongs to a failure that people were told of already.

    It does if it is of the same kind (any, where the mains went off) and comes soon after the last one, or while
    the mains are still off, or if the room was in it before. Later than that it may be something else, and so is
    what befalls a room that people were told is back: both are told.
    """
    if trouble.room in ongoing.back or ongoing.kind not in {None, trouble.kind}:
        return False
    still_off = ongoing.kind is None and contacts.power_is_off
    soon_after = abs(trouble.at_ms - ongoing.last_ms) <= by.within_ms
    return soon_after or still_off or trouble.room in ongoing.rooms


def over(ended_ms: Sequence[Instant | None], *, most_told: bool, now_ms: Instant) -> Over:
    """What there is to tell of the end.

    Args:
        ended_ms: when each room was back; ``None`` for one that is not.
        most_told: it was told before which rooms are not back.
        now_ms: now.
    """
    back = sorted(at_ms for at_ms in ended_ms if at_ms is not None)
    if len(back) == len(ended_ms):
        return Over.ALL
    most = len(ended_ms) // 2
    if most_told or len(back) <= most or now_ms - back[most] < LEFT_MS:
        return Over.NOT_YET
    return Over.MOST


def _order(trouble: Trouble) -> tuple[Instant, str, Quantity, Side]:
    return (trouble.at_ms, trouble.room, trouble.quantity, trouble.side)


def _groups(troubles: Sequence[Trouble], by: Measure) -> list[list[Trouble]]:
    """The fullest stretch of time with enough rooms, what follows it closely, and again with what is left."""
    left, groups = list(troubles), []
    while (group := _fullest(left, by)) is not None:
        inside = {trouble.room for trouble in group}
        left = [trouble for trouble in left if trouble.room not in inside]
        if not all(trouble.told for trouble in group):
            groups.append(group)
    return groups


def _fullest(troubles: Sequence[Trouble], by: Measure) -> list[Trouble] | None:
    stretches = [_stretch(troubles[start:], by) for start in range(len(troubles))]
    enough = [stretch for stretch in stretches if len(stretch) >= by.rooms]
    if not enough:
        return None
    fullest = max(enough, key=len)
    return _with_those_after(fullest, troubles[troubles.index(fullest[0]) :], by)


def _stretch(troubles: Sequence[Trouble], by: Measure) -> list[Trouble]:
    """One trouble of each room within the time that begins with the first of ``troubles``."""
    end_ms = troubles[0].at_ms + by.within_ms
    return _one_a_room(trouble for trouble in troubles if trouble.at_ms <= end_ms)


def _with_those_after(stretch: list[Trouble], troubles: Sequence[Trouble], by: Measure) -> list[Trouble]:
    """Rooms that follow while the failure is under way belong to it."""
    found, last_ms = list(stretch), stretch[-1].at_ms
    for trouble in troubles:
        is_new = trouble.room not in {one.room for one in found}
        if is_new and last_ms < trouble.at_ms <= last_ms + by.within_ms:
            found, last_ms = [*found, trouble], trouble.at_ms
    return found


def _one_a_room(troubles: Iterable[Trouble]) -> list[Trouble]:
    first: dict[str, Trouble] = {}
    for trouble in troubles:
        first.setdefault(trouble.room, trouble)
    return list(first.values())


def _failure(troubles: list[Trouble], contacts: Contacts, *, power: bool) -> Failure:
    if power:
        likely = {None: Likely.POWER, False: Likely.GENERATOR, True: Likely.TRANSFER}[contacts.generator]
        return Failure(troubles=tuple(troubles), power=True, likely=likely, known=True)
    likely = _LIKELY.get(troubles[0].kind, Likely.UNCLEAR)
    known = likely is Likely.WATER and contacts.water_pressure is False
    return Failure(troubles=tuple(troubles), power=False, likely=likely, known=known)
