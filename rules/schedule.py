"""From what was written down about a room to its limits over time.

Everything that changes what a room is judged by comes together here: where batches were and at which stage, how
long a stage gives the room to get there, whose figures are stood for and since when, when the room's first days
end, who works there, what is left until when, and what the room usually shows. The result is a sequence of
:class:`~rules.limits.RoomLimits` by the moment from which they hold, and nothing else is asked at judging.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Protocol, TypeAlias

from rules.compromise import Compromises, with_compromises
from rules.limits import Crop, Hold, Key, RoomLimits, Why, tenderest
from rules.model import LAST_INSTANT, Instant, Quantity, Side
from rules.profile import Profile
from rules.stays import ProfileKey, Stay, present
from rules.usual import Usual, grown, with_usual

StageKey: TypeAlias = tuple[str, int, str]
"""Name and version of a profile, and the stage."""

_RANK: Final = (Why.STAGE, Why.WORKING, Why.LEFT)
"""Of several reasons to hold back, the last of these is the one that is named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Back:
    """What a person, by working there or by leaving it until a time, holds back in the room."""

    hold: Hold
    quantity: Quantity | None = None
    """``None``: every crop limit of the room; else one quantity and side."""
    side: Side | None = None

    def covers(self, key: Key) -> bool:
        """Whether an alarm is held back by this."""
        return self.quantity is None or key == (self.quantity, self.side)


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualMade:
    """What the room usually shows, and when that was worked out: void once something else grows there."""

    made_ms: Instant
    usual: Usual


@dataclass(frozen=True, slots=True, kw_only=True)
class Growing:
    """What was written down about the crops of a room."""

    room_id: str
    stays: Sequence[Stay]
    profiles: Mapping[ProfileKey, Profile]
    confirmed: Mapping[StageKey, Instant]
    """Since when a person stands for the figures of a stage."""
    wakes_from_ms: Instant = 0
    """When the room's first days end; before, crop limits are only listed."""
    compromises: Compromises = field(default_factory=Compromises)
    """What was stated where its crops have nothing in common."""
    backs: Sequence[Back] = ()
    usuals: Sequence[UsualMade] = ()
    """In the order in which they were made: where two say something, the later counts."""

    def crops_at(self, at_ms: Instant) -> list[Crop]:
        """The crops in the room at a moment."""
        return [self._crop(stay, at_ms) for stay in present(self.stays, self.room_id, at_ms)]

    def limits_at(self, at_ms: Instant) -> RoomLimits:
        """The text limits in force at a moment, and what is held back of them."""
        here = present(self.stays, self.room_id, at_ms)
        on_the_way = [stay for stay in here if at_ms < self._there_ms(stay)]
        settled = tenderest((self._crop(s, at_ms) for s in here if s not in on_the_way), from_ms=at_ms)
        every = tenderest((self._crop(s, at_ms) for s in here), from_ms=at_ms)
        limits = RoomLimits(from_ms=at_ms, limits={**every.limits, **settled.limits})
        stated = with_compromises(limits, self.compromises.at(at_ms))
        raised = stated if on_the_way else with_usual(stated, dict(self._usual_at(at_ms, here)))
        holds = self._holds_at(at_ms, raised.limits, on_the_way, frozenset(settled.limits))
        return replace(raised, holds=holds)

    def moments(self, *, after_ms: Instant = -1, until_ms: Instant = LAST_INSTANT) -> list[Instant]:
        """When anything may change, after a moment and up to another."""
        return sorted(moment for moment in set(self._all_moments()) if after_ms < moment <= until_ms)

    def _all_moments(self) -> Iterator[Instant]:
        yield self.wakes_from_ms
        yield from self.confirmed.values()
        yield from self.compromises.moments()
        for stay in self.stays:
            yield from (stay.from_ms, self._there_ms(stay))
        for back in self.backs:
            yield from (back.hold.from_ms, back.hold.until_ms)
        for made in self.usuals:
            yield from (step for step, _ in made.usual.steps)
            yield made.usual.until_ms

    def _crop(self, stay: Stay, at_ms: Instant) -> Crop:
        profile = self.profiles[stay.profile]
        stage = profile.stage(stay.stage)
        confirmed_ms = self.confirmed.get((*stay.profile, stage.name))
        stood_for = stage.all_read or (confirmed_ms is not None and confirmed_ms <= at_ms)
        return Crop(
            batch=stay.batch,
            profile=profile,
            stage=stage,
            stage_since_ms=stay.stage_since_ms,
            wakes=stood_for and self.wakes_from_ms <= at_ms,
        )

    def _there_ms(self, stay: Stay) -> Instant:
        """When the room should have got to what the stage asks for."""
        return stay.here_since_ms + self.profiles[stay.profile].stage(stay.stage).ramp_ms

    def _usual_at(self, at_ms: Instant, here: Iterable[Stay]) -> Iterator[tuple[Quantity, float | None]]:
        now = grown(here)
        last = {made.usual.quantity: made for made in self.usuals if made.usual.covers(at_ms)}
        for quantity, made in last.items():
            if grown(present(self.stays, self.room_id, made.made_ms)) == now:
                yield quantity, made.usual.at(at_ms)

    def _holds_at(
        self, at_ms: Instant, keys: Iterable[Key], on_the_way: Sequence[Stay], settled: frozenset[Key]
    ) -> dict[Key, Hold]:
        backs = [back for back in self.backs if back.hold.from_ms <= at_ms < back.hold.until_ms]
        found: dict[Key, Hold] = {}
        for key in keys:
            holds = [back.hold for back in backs if back.covers(key)]
            if key not in settled:
                holds += [self._ramp(stay) for stay in on_the_way]
            if holds:
                found[key] = max(holds, key=lambda hold: (_RANK.index(hold.why), hold.until_ms))
        return found

    def _ramp(self, stay: Stay) -> Hold:
        return Hold(why=Why.STAGE, from_ms=stay.here_since_ms, until_ms=self._there_ms(stay), who=stay.batch)


class HoldKept(Protocol):
    """A hold as it was written down."""

    @property
    def kind(self) -> str: ...
    @property
    def quantity(self) -> Quantity | None: ...
    @property
    def side(self) -> Side | None: ...
    @property
    def from_ms(self) -> Instant: ...
    @property
    def end_ms(self) -> Instant: ...
    @property
    def who(self) -> str: ...


class UsualKept(Protocol):
    """What was usual, as it was written down."""

    @property
    def quantity(self) -> Quantity: ...
    @property
    def made_ms(self) -> Instant: ...
    @property
    def from_ms(self) -> Instant: ...
    @property
    def until_ms(self) -> Instant: ...
    @property
    def steps(self) -> tuple[tuple[Instant, float | None], ...]: ...


def backs_of(holds: Iterable[HoldKept]) -> tuple[Back, ...]:
    """Holds as the schedule takes them; one that ended before it began holds nothing."""
    return tuple(
        Back(
            hold=Hold(
                why=Why.WORKING if row.kind == Why.WORKING.value else Why.LEFT,
                from_ms=row.from_ms,
                until_ms=row.end_ms,
                who=row.who,
            ),
            quantity=row.quantity,
            side=row.side,
        )
        for row in holds
        if row.from_ms < row.end_ms
    )


def usuals_of(rows: Iterable[UsualKept]) -> tuple[UsualMade, ...]:
    """What was usual as the schedule takes it, in the order given."""
    return tuple(
        UsualMade(
            made_ms=row.made_ms,
            usual=Usual(quantity=row.quantity, from_ms=row.from_ms, until_ms=row.until_ms, steps=row.steps),
        )
        for row in rows
    )


def schedule(
    growing: Growing, *, since_ms: Instant = 0, until_ms: Instant = LAST_INSTANT
) -> tuple[RoomLimits, ...]:
    """The limits of a room from ``since_ms`` on, by the moment from which they hold."""
    return tuple(
        growing.limits_at(at) for at in (since_ms, *growing.moments(after_ms=since_ms, until_ms=until_ms))
    )
