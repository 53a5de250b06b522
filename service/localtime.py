"""The farm's own time. The only module that knows time zones (from the ``tzdata`` package, whose version we show).

Instants are UTC milliseconds everywhere else. "Last night" runs from the evening round to the morning round, on
the farm's clock, so it is an hour longer or shorter when clocks change.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from importlib.metadata import version
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, reset_tzpath

from rules.model import Instant
from service.errors import NotUnderstood

_DAYS_OF_A_YEAR = 366

# The machine's own zone files would come first, and may be years old; the version we show is the package's.
reset_tzpath(())
ZoneInfo.clear_cache()


def zone_exists(zone: str) -> bool:
    """True for an IANA zone name that can be used."""
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def local(at_ms: Instant, zone: str) -> datetime:
    """The farm's date and time at an instant, aware."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(ZoneInfo(zone))


def local_date(at_ms: Instant, zone: str) -> date:
    """The farm's calendar day at an instant."""
    return local(at_ms, zone).date()


def stage_day(since_ms: Instant, at_ms: Instant, zone: str) -> int:
    """The day of a stage as growers count: the first calendar day on the farm is day 1."""
    return (local_date(at_ms, zone) - local_date(since_ms, zone)).days + 1


def instant(moment: datetime) -> Instant:
    """The instant of an aware moment.

    Raises:
        NotUnderstood: the moment has no offset, so nobody can know when it is.
    """
    if moment.tzinfo is None:
        raise NotUnderstood("a time needs its offset, such as 2026-11-25T06:00:00-05:00")
    return round(moment.timestamp() * 1000)


def at_local(day: date, minute_of_day: int, zone: str) -> Instant:
    """The instant at which the farm's clock shows this day and minute; the first of the two in autumn."""
    clock = time(minute_of_day // 60, minute_of_day % 60)
    return instant(datetime.combine(day, clock, ZoneInfo(zone)))


def of_wall(wall: datetime, zone: str) -> Instant:
    """The instant of what a clock on the farm's wall shows, by RFC 5545, 3.3.5.

    A time that the wall skips in spring is read with the offset from before the gap; one that it shows twice in
    autumn is the first of the two.
    """
    return instant(wall.replace(tzinfo=ZoneInfo(zone), fold=0))


def wall(at_ms: Instant, zone: str) -> datetime:
    """What a clock on the farm's wall shows: without an offset, so good for the calendar and not as a moment."""
    return local(at_ms, zone).replace(tzinfo=None, fold=0)


def clocks_change_at(minute_of_day: int, zone: str, *, from_day: date) -> bool:
    """Whether a minute of the farm's day is left out or comes twice on some day of the year from ``from_day``.

    What is due then still comes once, but on those days not when people expect it.
    """
    clock, here = time(minute_of_day // 60, minute_of_day % 60), ZoneInfo(zone)
    first = (datetime.combine(from_day + timedelta(days=n), clock, here) for n in range(_DAYS_OF_A_YEAR))
    return any(moment.utcoffset() != moment.replace(fold=1).utcoffset() for moment in first)


def night_before(
    at_ms: Instant, zone: str, *, evening_minute: int, morning_minute: int
) -> tuple[Instant, Instant]:
    """The last night that had begun by ``at_ms``: evening round to the following morning round.

    Before the evening round that is the night that ended this morning; after it, the one that has just begun
    (its end may lie ahead).
    """
    today = local_date(at_ms, zone)
    evening = today if at_local(today, evening_minute, zone) <= at_ms else today - timedelta(days=1)
    return night_of(evening, zone, evening_minute=evening_minute, morning_minute=morning_minute)


def night_of(evening: date, zone: str, *, evening_minute: int, morning_minute: int) -> tuple[Instant, Instant]:
    """The night that begins on the evening of a day."""
    return (
        at_local(evening, evening_minute, zone),
        at_local(evening + timedelta(days=1), morning_minute, zone),
    )


def zone_data_version() -> str:
    """Which edition of the time zone rules is used."""
    return version("tzdata")
