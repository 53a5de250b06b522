"""Times of day that clocks leave out or repeat: taken, and remarked on."""

from __future__ import annotations

from typing import Final

from rules.model import Instant
from service.localtime import clocks_change_at, local_date
from service.storage.rows import Record

_REMARK: Final = (
    "{what} is at {time}, an hour that clocks leave out or repeat here: on those two days of the year what is due "
    "then is still sent once, but not at the time people expect; another hour is better"
)


def clock_change_remarks(farm: Record, what: str, minute: int, now_ms: Instant) -> list[str]:
    """What to say of a time of day that comes twice, or not at all, on a day of the coming year; else nothing."""
    if not clocks_change_at(minute, farm["zone"], from_day=local_date(now_ms, farm["zone"])):
        return []
    return [_REMARK.format(what=what, time=f"{minute // 60:02}:{minute % 60:02}")]
