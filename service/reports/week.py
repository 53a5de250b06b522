"""The week that the Friday page is about: from a minute of one Friday to the same minute of the next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from rules.model import Instant
from service.localtime import at_local, local_date
from service.storage.rows import Record

_FRIDAY: Final = 4
_WEEK: Final = timedelta(days=7)


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """One week, and how far of it a report looks."""

    friday: date
    """The Friday that ends it: what the week is called by."""
    from_ms: Instant
    to_ms: Instant
    now_ms: Instant

    @property
    def is_running(self) -> bool:
        """True while its Friday lies ahead."""
        return self.to_ms > self.now_ms


def week_of(farm: Record, now_ms: Instant, *, minute: int) -> Week:
    """The week that ended last."""
    today = local_date(now_ms, farm["zone"])
    friday = today - timedelta(days=(today.weekday() - _FRIDAY) % 7)
    if at_local(friday, minute, farm["zone"]) > now_ms:
        friday -= _WEEK
    return _week(farm, friday, now_ms, minute)


def week_named(farm: Record, friday: date, now_ms: Instant, *, minute: int) -> Week | None:
    """The week that a Friday ends; ``None`` where the day is no Friday, or that week has not begun."""
    if friday.weekday() != _FRIDAY:
        return None
    try:
        week = _week(farm, friday, now_ms, minute)
    except (OverflowError, ValueError):
        return None
    return week if 0 <= week.from_ms <= now_ms else None


def _week(farm: Record, friday: date, now_ms: Instant, minute: int) -> Week:
    return Week(
        friday=friday,
        from_ms=at_local(friday - _WEEK, minute, farm["zone"]),
        to_ms=at_local(friday, minute, farm["zone"]),
        now_ms=now_ms,
    )
