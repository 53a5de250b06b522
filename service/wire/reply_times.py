"""Times of day as people write them in an answer: 10, 10:30, 1030, 10am, 22h, las 10 de la noche."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.wire.reply_lexicon import AFTER_TIME, BEFORE_TIME, EVENING, MORNING, NAMED_TIMES

_HALF_DAY: Final = 12 * 60
_DAY: Final = 24 * 60
_HOUR: Final = 60
_CLOCK_DIGITS: Final = 3
"""From so many digits on, the last two are minutes."""
_MOST_DIGITS: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Until:
    """A time of day, whose day is the next one that has it still ahead."""

    minute: int
    either_half: bool
    """It may as well be twelve hours later: nobody said which half of the day."""


def time_in(tokens: Sequence[str]) -> tuple[Until | None, int]:
    """The time that tokens begin with, and how many of them it takes; ``None`` where there is none."""
    at = 0
    while at < len(tokens) and tokens[at] in BEFORE_TIME:
        at += 1
    if at == len(tokens):
        return None, at
    if tokens[at] in NAMED_TIMES:
        return Until(minute=NAMED_TIMES[tokens[at]], either_half=False), at + 1
    written = _clock(tokens[at])
    if written is None:
        return None, at
    minute, is_24_hours = written
    at += 1
    if tuple(tokens[at : at + 2]) == ("y", "media") and minute % _HOUR == 0:
        minute, at = minute + _HOUR // 2, at + 2
    return _with_half(minute, tokens, at, is_24_hours=is_24_hours)


def _with_half(minute: int, tokens: Sequence[str], at: int, *, is_24_hours: bool) -> tuple[Until | None, int]:
    """Look for what says which half of the day is meant."""
    marked, end = tokens[at : at + 1], at
    for ahead in range(at, min(at + 3, len(tokens))):
        if tokens[ahead] in MORNING | EVENING:
            marked, end = tokens[ahead : ahead + 1], ahead + 1
            break
        if tokens[ahead] not in AFTER_TIME:
            break
    if end == at:
        says_hours = marked and marked[0] in {"h", "hs", "hr", "hrs", "oclock"}
        either = not is_24_hours and 0 < minute <= _HALF_DAY + _HOUR - 1
        return Until(minute=minute % (_HALF_DAY if either else _DAY), either_half=either), at + bool(says_hours)
    if minute >= _HALF_DAY + _HOUR:
        # "22:00 de la noche": said twice. "22 am" contradicts itself.
        return (Until(minute=minute, either_half=False), end) if marked[0] in EVENING else (None, end)
    later = _HALF_DAY if marked[0] in EVENING else 0
    return Until(minute=minute % _HALF_DAY + later, either_half=False), end


def _clock(token: str) -> tuple[int, bool] | None:
    """Minutes of the day, and whether it is written as on a clock of 24 hours."""
    hours, colon, minutes = token.partition(":")
    if not colon and token.isdecimal() and _CLOCK_DIGITS <= len(token) <= _MOST_DIGITS:
        hours, minutes = token[:-2], token[-2:]
    if not hours.isdecimal() or len(hours) > 2 or (minutes and not minutes.isdecimal()):  # noqa: PLR2004 - an hour
        return None
    minute = int(hours) * _HOUR + int(minutes or 0)
    if int(hours) > _DAY // _HOUR or int(minutes or 0) >= _HOUR or minute > _DAY:
        return None
    return minute % _DAY, hours.startswith("0") or int(hours) > 12  # noqa: PLR2004 - noon
