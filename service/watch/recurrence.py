"""When turns begin: recurrence rules of RFC 5545 on the farm's wall, with bounded work.

python-dateutil expands them. It walks from the beginning of a rule, and walks for ever at an interval of nothing,
so rules are checked here before it sees them, and the walk begins close to the days that are asked about. A rule
says on which days turns begin; the time of day is that of the first turn.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import islice
from typing import Final

from dateutil.rrule import rrule, rrulestr

from service.errors import NotUnderstood

LONGEST_RULE: Final = 200
MOST_INTERVAL: Final = 99
MOST_COUNT: Final = 500
LOOK_AHEAD: Final = timedelta(days=3660)
"""A rule must give its first turn, and all that it counts, within ten years."""
FREQUENCIES: Final = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")
WEEKDAYS: Final = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_NUMBERS: Final = {"BYMONTH": (1, 12), "BYMONTHDAY": (-31, 31), "BYYEARDAY": (-366, 366), "BYWEEKNO": (-53, 53),
                   "BYSETPOS": (-366, 366)}  # fmt: skip
_OTHERS: Final = ("FREQ", "INTERVAL", "COUNT", "UNTIL", "BYDAY", "WKST")
_DAY: Final = re.compile(r"([+-]?[1-9]\d?)?(MO|TU|WE|TH|FR|SA|SU)", re.ASCII)
_UNTIL: Final = re.compile(r"(\d{8})(?:T(\d{6}))?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A rule with the first turn that it counts from; wall times have no offset."""

    first: datetime
    parts: Mapping[str, str]
    """Without COUNT and UNTIL, and with the days spelled out that it takes from the first turn."""
    until: datetime | None
    """The last moment at which a turn may begin."""

    def begins(self, after: datetime, until: datetime) -> list[datetime]:
        """When turns begin after a moment and until another (inclusive), in order.

        The work grows with the days between the two, not with the years since the first turn.
        """
        last = until if self.until is None else min(until, self.until)
        earliest = max(after + timedelta(microseconds=1), self.first)
        if last < earliest:
            return []
        return list(_expand(self.parts, self.near(earliest), last).between(earliest, last, inc=True))

    def near(self, moment: datetime) -> datetime:
        """The beginning of a period of the rule that is not after a moment, in step with the first turn."""
        interval = int(self.parts.get("INTERVAL", "1"))
        start = self.first
        match self.parts["FREQ"]:
            case "DAILY":
                return start + timedelta(days=_steps((moment - start).days, interval))
            case "WEEKLY":
                week = WEEKDAYS.index(self.parts.get("WKST", "MO"))
                monday = start - timedelta(days=(start.weekday() - week) % 7)
                return monday + timedelta(days=7 * _steps((moment - monday).days // 7, interval))
            case "MONTHLY":
                months = _steps(12 * (moment.year - start.year) + moment.month - start.month, interval)
                year, month = divmod(12 * start.year + start.month - 1 + months, 12)
                return start.replace(year=year, month=month + 1, day=1)
            case _:
                # The first week of a year may begin in the year before: one period earlier is early enough.
                years = _steps(moment.year - start.year - interval, interval)
                return start.replace(year=start.year + years, month=1, day=1)


def _steps(passed: int, interval: int) -> int:
    return max(passed // interval, 0) * interval


@lru_cache(maxsize=512)
def read_rule(text: str, first: datetime) -> Rule:
    """Read a recurrence rule.

    Args:
        text: such as ``FREQ=WEEKLY;BYDAY=MO,TH``; ``""`` for a turn that does not repeat.
        first: when the first turn begins, on the farm's wall.

    Raises:
        NotUnderstood: it is not a rule, asks for something that a rota has no use for, or gives no turn.
    """
    parts = _parts(text or "FREQ=DAILY;COUNT=1")
    count, until = parts.pop("COUNT", None), parts.pop("UNTIL", None)
    _check(parts)
    if count is not None and until is not None:
        raise NotUnderstood("a rule has either COUNT or UNTIL (RFC 5545)")
    open_ended = Rule(first=first, parts=_spelled_out(parts, first), until=None)
    if until is not None:
        rule = Rule(first=first, parts=open_ended.parts, until=_last_moment(until))
    elif count is not None:
        rule = Rule(first=first, parts=open_ended.parts, until=_counted(open_ended, count))
    else:
        rule = open_ended
    if not _some(rule, 1):
        raise NotUnderstood("this rule gives no turn within ten years of its first day")
    return rule


def _parts(text: str) -> dict[str, str]:
    if len(text) > LONGEST_RULE:
        raise NotUnderstood(f"a rule has at most {LONGEST_RULE} characters")
    parts: dict[str, str] = {}
    for piece in text.upper().removeprefix("RRULE:").split(";"):
        name, equals, value = piece.partition("=")
        if not equals or not value or name not in {*_OTHERS, *_NUMBERS}:
            known = ", ".join((*_OTHERS, *_NUMBERS))
            raise NotUnderstood(f"{piece[:40]!r} is not a part of a rule for turns; there are {known}")
        if name in parts:
            raise NotUnderstood(f"{name} stands in the rule twice")
        parts[name] = value
    return parts


def _check(parts: Mapping[str, str]) -> None:
    if parts.get("FREQ") not in FREQUENCIES:
        raise NotUnderstood(f"a rule begins with FREQ, one of {', '.join(FREQUENCIES)}")
    _whole("INTERVAL", parts.get("INTERVAL", "1"), 1, MOST_INTERVAL)
    if parts.get("WKST", "MO") not in WEEKDAYS:
        raise NotUnderstood(f"WKST is one of {', '.join(WEEKDAYS)}")
    for name, (least, most) in _NUMBERS.items():
        for value in parts.get(name, "1").split(","):
            if _whole(name, value, least, most) == 0:
                raise NotUnderstood(f"{name} counts from 1, or from -1 backwards")
    _check_days(parts)


def _check_days(parts: Mapping[str, str]) -> None:
    """RFC 5545, 3.3.10: which parts go with which frequency."""
    freq, days = parts["FREQ"], parts.get("BYDAY", "MO").split(",")
    found = [_DAY.fullmatch(day) for day in days]
    if any(day is None for day in found):
        raise NotUnderstood("BYDAY lists days, such as MO,TH or -1FR for the last Friday")
    if any(day is not None and day[1] for day in found) and (freq in {"DAILY", "WEEKLY"} or "BYWEEKNO" in parts):
        raise NotUnderstood("BYDAY with a number, such as -1FR, is for a month or a year")
    wrong = {
        "BYMONTHDAY": freq == "WEEKLY",
        "BYYEARDAY": freq != "YEARLY",
        "BYWEEKNO": freq != "YEARLY",
        "BYSETPOS": not any(name in parts for name in ("BYDAY", "BYMONTHDAY", "BYMONTH", "BYYEARDAY", "BYWEEKNO")),
    }
    for name, is_wrong in wrong.items():
        if is_wrong and name in parts:
            raise NotUnderstood(f"{name} cannot stand in this rule (RFC 5545)")


def _whole(name: str, text: str, least: int, most: int) -> int:
    number = int(text) if re.fullmatch(r"[+-]?\d{1,4}", text, re.ASCII) else None
    if number is None or not least <= number <= most:
        raise NotUnderstood(f"{name} is a whole number from {least} to {most}")
    return number


def _spelled_out(parts: Mapping[str, str], first: datetime) -> dict[str, str]:
    """Write down what a rule takes from its first turn, so that it can be walked from any later period."""
    named = {"BYDAY", "BYMONTHDAY", "BYYEARDAY", "BYWEEKNO"} & set(parts)
    whole = dict(parts)
    match parts["FREQ"]:
        case "WEEKLY" if not named:
            whole["BYDAY"] = WEEKDAYS[first.weekday()]
        case "MONTHLY" if not named:
            whole["BYMONTHDAY"] = str(first.day)
        case "YEARLY" if not named:
            whole.setdefault("BYMONTH", str(first.month))
            whole["BYMONTHDAY"] = str(first.day)
        case "YEARLY" if named == {"BYWEEKNO"}:
            whole["BYDAY"] = WEEKDAYS[first.weekday()]
    return whole


def _last_moment(text: str) -> datetime:
    """UNTIL as a date (then the whole day) or as a time on the farm's wall."""
    found = _UNTIL.fullmatch(text)
    if found is None:
        raise NotUnderstood("UNTIL is a day or a time on the farm's clock: 20261231 or 20261231T200000")
    try:
        return datetime.strptime(found[1] + (found[2] or "235959"), "%Y%m%d%H%M%S")  # noqa: DTZ007 - a wall time
    except ValueError as error:
        raise NotUnderstood("UNTIL names a day that does not exist") from error


def _counted(rule: Rule, text: str) -> datetime:
    count = _whole("COUNT", text, 1, MOST_COUNT)
    turns = _some(rule, count)
    if len(turns) < count:
        raise NotUnderstood(f"this rule does not come to {count} turns within ten years")
    return turns[-1]


def _some(rule: Rule, count: int) -> list[datetime]:
    """The first turns of a rule, as many as are asked for and come within ten years."""
    end = _plus(rule.first, LOOK_AHEAD)
    last = end if rule.until is None else min(end, rule.until)
    near = rule.near(rule.first)
    return list(islice((t for t in _expand(rule.parts, near, last) if t >= rule.first), count))


def _plus(moment: datetime, span: timedelta) -> datetime:
    return moment + span if moment < datetime.max - span else datetime.max  # noqa: DTZ901 - a wall time


def _expand(parts: Mapping[str, str], start: datetime, last: datetime) -> rrule:
    text = ";".join(f"{name}={value}" for name, value in parts.items())
    made = rrulestr(f"{text};UNTIL={last:%Y%m%dT%H%M%S}", dtstart=start)
    if not isinstance(made, rrule):
        raise TypeError("one rule gives one rrule")
    return made
