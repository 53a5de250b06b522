"""The air of a room as people limits see it: averages of eight hours and fifteen minutes, and the value of now.

Readings are folded in order of time measured. Between two readings a value holds as :class:`rules.room_state.Held`
says; the room's value is the highest that any probe holds. It is added up in whole minutes (fifteen are kept) and
in quarter-hours (sixteen hours are kept), so averages are exact at those bounds and the state stays small.

Two sums are kept of every stretch. The *known* sum counts a time of which nothing is known as nothing, so the true
average is not lower: only it raises. The *cautious* sum counts such a time by the last value that was heard: only
it ends what was raised, and never while no probe is heard. So doubt neither raises nor silences. A probe at its
top counts as "at least", and reaching a limit is then enough to pass it.

The eight-hour average is 29 CFR 1910.1000(d)(1): the sum of concentration times hours, divided by eight. While
somebody is logged inside for longer than eight hours, the sum runs over their whole stay (16 h at most) and is
still divided by eight.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from rules.model import HOUR_MS, MINUTE_MS, Instant, ProbeId, Quantity, Reading
from rules.people import BACK_SHARE, EIGHT_HOURS_MS, FIFTEEN_MINUTES_MS, Level, PeopleLimits
from rules.room_state import Held

QUARTER_MS: Final = 15 * MINUTE_MS
LONGEST_STAY_MS: Final = 16 * HOUR_MS
REACH_MS: Final = LONGEST_STAY_MS + QUARTER_MS
"""Older readings than this change nothing."""
FULL_COVERAGE: Final = 0.95
"""Where less of the time is known, an average is said with "at least" (our judgement)."""
_MINUTES: Final = FIFTEEN_MINUTES_MS // MINUTE_MS
_QUARTERS: Final = LONGEST_STAY_MS // QUARTER_MS


@dataclass(frozen=True, slots=True)
class Sum:
    """The air of a stretch added up: ppm times milliseconds, and milliseconds."""

    known: float = 0.0
    cautious: float = 0.0
    known_ms: int = 0
    at_top_ms: int = 0

    def __add__(self, other: Sum) -> Sum:
        """Both stretches together."""
        return Sum(
            self.known + other.known,
            self.cautious + other.cautious,
            self.known_ms + other.known_ms,
            self.at_top_ms + other.at_top_ms,
        )


NOTHING: Final = Sum()


@dataclass(frozen=True, slots=True, kw_only=True)
class AirState:
    """A room's air as judged up to and including ``clock_ms``."""

    clock_ms: Instant
    added_ms: Instant
    """Up to where it is added up; what follows is the value held since."""
    held: Mapping[ProbeId, Held] = field(default_factory=dict)
    minute: Sum = NOTHING
    """Of the minute that is under way, and so on."""
    minutes: tuple[Sum, ...] = ()
    quarter: Sum = NOTHING
    quarters: tuple[Sum, ...] = ()
    over: frozenset[Level] = frozenset()
    """The levels that are passed."""

    @classmethod
    def unknown(cls, at_ms: Instant) -> AirState:
        """A room of which nothing is known before ``at_ms``."""
        return cls(clock_ms=at_ms, added_ms=at_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """An average in ppm, and what it rests on."""

    ppm: float
    """Unknown time counted as nothing: the true figure is not lower."""
    cautious_ppm: float
    """Unknown time counted by the last value heard."""
    coverage: float
    """The share of the time of which something is known."""
    at_top_ms: int
    """For how long a probe read no higher."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What can be said of a room's air at a moment; averages are of the last whole minute."""

    at_ms: Instant
    now_ppm: float | None
    """``None`` when no probe holds a value."""
    now_at_top: bool
    last_ppm: float | None
    """The highest that was heard last, by probes that still hang here; ``None`` when none was ever heard."""
    fifteen_minutes: Mean
    eight_hours: Mean


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoken:
    """The figure by which a passed limit is told."""

    ppm: float
    at_least: bool
    """A probe read no higher, or too little of the time is known: it may well be more."""
    coverage: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A moment at which other levels were passed than before."""

    at_ms: Instant
    over: frozenset[Level]
    figures: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """What the fold is given beside the state; each part may reach further back than the state's clock."""

    limits: PeopleLimits
    readings: Sequence[Reading] = ()
    """Of this room's probes, in any order; others than CO2 are passed over."""
    tops: Mapping[ProbeId, float] = field(default_factory=dict)
    """The highest that a probe reads, where it is known."""
    taken_out: Sequence[tuple[Instant, ProbeId]] = ()
    """When a probe was taken out of the room."""
    stays: Sequence[tuple[Instant, Instant]] = ()
    """From when to when somebody was logged inside."""


def breathe(state: AirState, air: Air, *, until_ms: Instant) -> tuple[AirState, tuple[Step, ...]]:
    """Judge a room's air from ``state.clock_ms`` (exclusive) to ``until_ms`` (inclusive).

    Judging to one moment and then to another gives the same as judging to the other at once.

    Returns:
        The new state, and the moments at which other levels were passed than before, in order of time.
    """
    if until_ms <= state.clock_ms:
        return state, ()
    fold = _Fold(state, air)
    new: dict[Instant, dict[ProbeId, float]] = {}
    for r in air.readings:
        if r.quantity is Quantity.CO2 and state.clock_ms < r.at_ms <= until_ms:
            new.setdefault(r.at_ms, {})[r.probe] = r.value
    gone: dict[Instant, set[ProbeId]] = {}
    for at_ms, probe in air.taken_out:
        if state.clock_ms < at_ms <= until_ms:
            gone.setdefault(at_ms, set()).add(probe)
    for at_ms in sorted(new.keys() | gone.keys()):
        fold.advance(at_ms)
        fold.handle(at_ms, new.get(at_ms, {}), gone.get(at_ms, frozenset()))
    fold.advance(until_ms + 1)
    return replace(fold.state(), clock_ms=until_ms), tuple(fold.steps)


def figures(state: AirState, air: Air) -> Figures:
    """What can be said of a room's air in ``state``."""
    return _Fold(state, air).figures(state.clock_ms)


def is_at_least(mean: Mean) -> bool:
    """Whether the true average may well be higher."""
    return mean.at_top_ms > 0 or mean.coverage < FULL_COVERAGE


def spoken(level: Level, now: Figures, limits: PeopleLimits) -> Spoken:
    """The figure by which ``level`` is passed.

    Where it was passed before and too little was heard since to say so again, the cautious figure: what the last
    value heard would make of it.
    """
    if level in {Level.AT_TOP, Level.CEILING}:
        unheard = now.now_ppm is None
        return Spoken(ppm=now.last_ppm or 0.0, at_least=now.now_at_top or unheard, coverage=1.0)
    mean = now.eight_hours if level is Level.EIGHT_HOURS else now.fifteen_minutes
    limit = limits.eight_hours_ppm if level is Level.EIGHT_HOURS else limits.fifteen_minutes_ppm
    ppm = mean.ppm if mean.ppm >= limit else mean.cautious_ppm
    return Spoken(ppm=ppm, at_least=is_at_least(mean), coverage=mean.coverage)


def is_back(level: Level, state: AirState, air: Air) -> bool:
    """Whether ``level`` would be over at this moment, had it been passed."""
    return _Fold(state, air).is_back(level, state.clock_ms)


class _Fold:
    """The working memory of one call of :func:`breathe`."""

    def __init__(self, state: AirState, air: Air) -> None:
        self.air = air
        self.held = dict(state.held)
        self.added_ms = state.added_ms
        self.minute, self.minutes = state.minute, state.minutes
        self.quarter, self.quarters = state.quarter, state.quarters
        self.over = state.over
        self.steps: list[Step] = []

    def state(self) -> AirState:
        return AirState(
            clock_ms=self.added_ms,
            added_ms=self.added_ms,
            held=self.held,
            minute=self.minute,
            minutes=self.minutes,
            quarter=self.quarter,
            quarters=self.quarters,
            over=self.over,
        )

    def advance(self, at_ms: Instant) -> None:
        """Handle the moments before ``at_ms`` at which something happens by itself."""
        while (moment := self._next_moment()) < at_ms:
            self.handle(moment, {}, frozenset())

    def _next_moment(self) -> Instant:
        minute = (self.added_ms // MINUTE_MS + 1) * MINUTE_MS
        return min([minute, *(h.until_ms for h in self.held.values() if not h.expired)])

    def handle(self, at_ms: Instant, new: Mapping[ProbeId, float], gone: Iterable[ProbeId]) -> None:
        """Add up to ``at_ms``, then take what is new, then look at the limits."""
        self._add(at_ms)
        for probe, held in self.held.items():
            if not held.expired and held.until_ms <= at_ms:
                self.held[probe] = replace(held, expired=True)
        for probe in gone:
            self.held.pop(probe, None)
        for probe, value in new.items():
            before = self.held.get(probe)
            taken = Held(value=value, at_ms=at_ms) if before is None else before.followed_by(value, at_ms)
            self.held[probe] = taken
        self._look(at_ms)

    # --- adding up ------------------------------------------------------------------------------------------

    def _add(self, at_ms: Instant) -> None:
        """From where it is added up to ``at_ms``; never over a minute's bound, for that is a moment of its own."""
        lasted = at_ms - self.added_ms
        value, last = self._value(), max((h.value for h in self.held.values()), default=0.0)
        known = value is not None
        self.minute += Sum(
            (value or 0.0) * lasted, last * lasted, lasted * known, lasted * (known and self._is_at_top())
        )
        self.added_ms = at_ms
        if at_ms % MINUTE_MS == 0:
            self.minutes = (*self.minutes, self.minute)[-_MINUTES:]
            self.quarter += self.minute
            self.minute = NOTHING
            if at_ms % QUARTER_MS == 0:
                self.quarters = (*self.quarters, self.quarter)[-_QUARTERS:]
                self.quarter = NOTHING

    def _value(self) -> float | None:
        return max((h.value for h in self.held.values() if not h.expired), default=None)

    def _is_at_top(self) -> bool:
        """Whether a probe that is heard reads no higher than it does."""
        tops = self.air.tops
        return any(h.value >= tops[p] for p, h in self.held.items() if not h.expired and p in tops)

    # --- limits ---------------------------------------------------------------------------------------------

    def _look(self, at_ms: Instant) -> None:
        over = frozenset(level for level in Level if self._is_over(level, at_ms))
        if over != self.over:
            self.over = over
            self.steps.append(Step(at_ms=at_ms, over=over, figures=self.figures(at_ms)))

    def _is_over(self, level: Level, at_ms: Instant) -> bool:
        if level is not Level.CEILING and at_ms % MINUTE_MS:
            return level in self.over
        return not self.is_back(level, at_ms) if level in self.over else self._is_passed(level, at_ms)

    def _is_passed(self, level: Level, at_ms: Instant) -> bool:
        limit = self.air.limits.of(level)
        if limit is None:
            return False
        if level is Level.CEILING:
            value = self._value()
            return value is not None and _passes(value, limit, at_least=self._is_at_top())
        if level is Level.AT_TOP:
            quarter = self._fifteen_minutes()
            known = _passes(quarter.ppm, limit, at_least=True)
            return quarter.at_top_ms == FIFTEEN_MINUTES_MS and not known
        mean = self._mean(level, at_ms)
        return _passes(mean.ppm, limit, at_least=mean.at_top_ms > 0)

    def is_back(self, level: Level, at_ms: Instant) -> bool:
        """By the cautious figures, and never while nothing is heard; a limit that is gone is not passed."""
        limit = self.air.limits.of(level)
        value = self._value()
        if limit is None or value is None:
            return limit is None
        if level is Level.CEILING:
            highest = max(h.value for h in self.held.values())
            return highest <= limit * BACK_SHARE and not self._is_at_top()
        quarter = self._fifteen_minutes()
        if quarter.at_top_ms:
            return level is Level.AT_TOP and _passes(quarter.ppm, limit, at_least=True)
        if level is Level.EIGHT_HOURS and at_ms % QUARTER_MS:
            return False  # The sum of eight hours is whole at quarter-hours only; between them it is a little low.
        return level is Level.AT_TOP or self._mean(level, at_ms).cautious_ppm <= limit * BACK_SHARE

    def _mean(self, level: Level, at_ms: Instant) -> Mean:
        return self._eight_hours(at_ms) if level is Level.EIGHT_HOURS else self._fifteen_minutes()

    def _fifteen_minutes(self) -> Mean:
        return _mean(self.minutes, FIFTEEN_MINUTES_MS, FIFTEEN_MINUTES_MS)

    def _eight_hours(self, at_ms: Instant) -> Mean:
        stays = [a for a, b in self.air.stays if a <= at_ms < b]
        lasted = max(EIGHT_HOURS_MS, min(at_ms - min(stays, default=at_ms), LONGEST_STAY_MS))
        whole_ms = lasted - at_ms % QUARTER_MS
        quarters = self.quarters[-(whole_ms // QUARTER_MS) :]
        return _mean((*quarters, self.quarter), EIGHT_HOURS_MS, lasted)

    def figures(self, at_ms: Instant) -> Figures:
        """What can be said now."""
        minute_ms = at_ms - at_ms % MINUTE_MS
        return Figures(
            at_ms=at_ms,
            now_ppm=self._value(),
            now_at_top=self._is_at_top(),
            last_ppm=max((h.value for h in self.held.values()), default=None),
            fifteen_minutes=self._fifteen_minutes(),
            eight_hours=self._eight_hours(minute_ms),
        )


def _mean(sums: Iterable[Sum], divisor_ms: int, lasted_ms: int) -> Mean:
    # Field by field: making a sum of each two of them took a tenth of a judgement.
    known = cautious = 0.0
    known_ms = at_top_ms = 0
    for one in sums:
        known += one.known
        cautious += one.cautious
        known_ms += one.known_ms
        at_top_ms += one.at_top_ms
    return Mean(
        ppm=known / divisor_ms,
        cautious_ppm=cautious / divisor_ms,
        coverage=known_ms / lasted_ms,
        at_top_ms=at_top_ms,
    )


def _passes(ppm: float, limit: float, *, at_least: bool) -> bool:
    """Exactly at a limit is not over it; "at least" exactly that much may be."""
    return ppm > limit or (at_least and ppm >= limit)


# --- how it is written down -------------------------------------------------------------------------------------


def air_to_plain(state: AirState) -> dict[str, Any]:
    """Write ``state`` as values that JSON can hold."""
    return {
        "clock_ms": state.clock_ms,
        "added_ms": state.added_ms,
        "held": [[p, h.value, h.at_ms, list(h.gaps_ms), h.expired] for p, h in state.held.items()],
        "minute": _row(state.minute),
        "minutes": [_row(s) for s in state.minutes],
        "quarter": _row(state.quarter),
        "quarters": [_row(s) for s in state.quarters],
        "over": sorted(state.over),
    }


def air_from_plain(plain: Mapping[str, Any]) -> AirState:
    """Read back what :func:`air_to_plain` wrote."""
    return AirState(
        clock_ms=plain["clock_ms"],
        added_ms=plain["added_ms"],
        held={
            ProbeId(p): Held(value=value, at_ms=at_ms, gaps_ms=tuple(gaps), expired=expired)
            for p, value, at_ms, gaps, expired in plain["held"]
        },
        minute=Sum(*plain["minute"]),
        minutes=tuple(Sum(*row) for row in plain["minutes"]),
        quarter=Sum(*plain["quarter"]),
        quarters=tuple(Sum(*row) for row in plain["quarters"]),
        over=frozenset(Level(level) for level in plain["over"]),
    )


def _row(added: Sum) -> list[float]:
    return [added.known, added.cautious, added.known_ms, added.at_top_ms]
