"""The time that a report is about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from rules.model import HOUR_MS, MINUTE_MS, Instant
from service.localtime import at_local, local_date, night_before, night_of
from service.storage.rows import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """One night, and how far of it (or beyond it) a report looks."""

    evening: date
    """The calendar day on whose evening the night begins: what the night is called by."""
    from_ms: Instant
    morning_ms: Instant
    """The morning round that ends the night; it may lie ahead."""
    to_ms: Instant
    """Where the report ends."""
    now_ms: Instant

    @property
    def is_running(self) -> bool:
        """True while it is tonight."""
        return self.now_ms < self.morning_ms

    @property
    def reaches_now(self) -> bool:
        """True when the report ends at the present."""
        return self.to_ms >= self.now_ms


def newest_span(farm: Record, now_ms: Instant) -> Span:
    """The last night that has begun, up to now: tonight so far, or last night and the day since."""
    from_ms, morning_ms = night_before(now_ms, farm["zone"], **_rounds(farm))
    return _span(farm, from_ms, morning_ms, to_ms=max(now_ms, from_ms + MINUTE_MS), now_ms=now_ms)


def night_span(farm: Record, evening: date, now_ms: Instant) -> Span | None:
    """The night of a day, evening round to morning round; ``None`` if it has not begun or lies beyond reach."""
    try:
        from_ms, morning_ms = night_of(evening, farm["zone"], **_rounds(farm))
    except (OverflowError, ValueError):
        return None
    if from_ms > now_ms or from_ms < 0:
        return None
    to_ms = max(min(morning_ms, now_ms), from_ms + MINUTE_MS)
    return _span(farm, from_ms, morning_ms, to_ms=to_ms, now_ms=now_ms)


def last_ended_span(farm: Record, now_ms: Instant) -> Span:
    """The night that ended last, evening round to morning round: what the morning mail is about."""
    newest = newest_span(farm, now_ms)
    evening = newest.evening - timedelta(days=1) if newest.is_running else newest.evening
    return night_span(farm, evening, now_ms) or newest


def hours(farm: Record, span: Span) -> list[Instant]:
    """The full hours of the farm's clock within a span; where clocks change, as the clock shows them."""
    day = local_date(span.from_ms, farm["zone"])
    last = local_date(span.to_ms, farm["zone"])
    found: set[Instant] = set()
    while day <= last:
        found |= {at_local(day, 60 * hour, farm["zone"]) for hour in range(24)}
        day += timedelta(days=1)
    repeated = {at + HOUR_MS for at in found if at + HOUR_MS not in found}
    return sorted(at for at in found | repeated if span.from_ms <= at <= span.to_ms)


def _rounds(farm: Record) -> dict[str, int]:
    return {"evening_minute": farm["evening_round_minute"], "morning_minute": farm["morning_round_minute"]}


def _span(farm: Record, from_ms: Instant, morning_ms: Instant, *, to_ms: Instant, now_ms: Instant) -> Span:
    evening = local_date(from_ms, farm["zone"])
    return Span(evening=evening, from_ms=from_ms, morning_ms=morning_ms, to_ms=to_ms, now_ms=now_ms)
