"""Is this the text that should have come? Read with a stranger's eyes: nothing here is shared with the writer.

Length is counted by the phone network's own rules: the basic 7-bit alphabet and its extension table of
3GPP TS 23.038 section 6.2.1 (the extension costs two), 160 septets to a single message (TS 23.040).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

_BASIC: Final = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡"
    "ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_EXTENSION: Final = frozenset("\f^{}\\[~]|€")
ONE_SEGMENT: Final = 160
MINUTES_OFF: Final = 1.0
"""The stated length of time is in whole minutes."""

_FIGURE: Final = r"(\d+(?:\.\d+)?) ?%"
_LASTS: Final = re.compile(r"\bfor (?:(\d+) h ?)?(?:(\d+)(?: min)?)?\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a text about falling humidity must say."""

    room: str
    crop: str
    stages: tuple[str, ...]
    """Spellings of the stage, any of which will do."""
    limit: float
    wait_minutes: float
    """It is told when it has lasted this long ..."""
    lasted_minutes: float
    """... and had lasted this long when the text came, by the readings."""
    answer: str
    """An answer that it must ask for."""
    note: str
    """Words that mark the text as no real one."""


def septets(text: str) -> int | None:
    """Length in the basic alphabet; None when a character is not in it."""
    if not set(text) <= _BASIC | _EXTENSION:
        return None
    return sum(1 + (letter in _EXTENSION) for letter in text)


def complaints(text: str, expected: Expected) -> list[str]:
    """What is wrong with the text; nothing, for a good one."""
    said = text.casefold()
    names = {
        f"the room, {expected.room}": expected.room.casefold() in said,
        f"the crop, {expected.crop}": expected.crop.casefold() in said,
        f"the stage, {' or '.join(expected.stages)}": any(stage.casefold() in said for stage in expected.stages),
        f"that {expected.answer!r} answers it": expected.answer.casefold() in said,
        f"that it is {expected.note}": expected.note.casefold() in said,
    }
    missing = [f"it does not say {what}" for what, there in names.items() if not there]
    return [*missing, *_figures(said, expected), *_length(text)]


def _figures(said: str, expected: Expected) -> list[str]:
    value = re.search(rf"humidity {_FIGURE}", said)
    limit = re.search(rf"limit {_FIGURE}", said)
    wrong = []
    if value is None:
        wrong.append("it gives no humidity")
    elif not float(value[1]) < expected.limit:
        wrong.append(f"its humidity, {value[1]}, is not under the limit of {expected.limit:g}")
    if limit is None:
        wrong.append("it gives no limit")
    elif float(limit[1]) != expected.limit:
        wrong.append(f"its limit is {limit[1]} and the house's {expected.limit:g}")
    return [*wrong, *_lasted(said, expected)]


def _lasted(said: str, expected: Expected) -> list[str]:
    found = _LASTS.search(said)
    if found is None or not any(found.groups()):
        return ["it does not say for how long"]
    minutes = int(found[1] or 0) * 60 + int(found[2] or 0)
    if expected.wait_minutes - MINUTES_OFF <= minutes <= expected.lasted_minutes + MINUTES_OFF:
        return []
    lasted = f"the wait is {expected.wait_minutes:g}, the readings were under for {expected.lasted_minutes:.1f}"
    return [f"it says {minutes} min; {lasted} when it came"]


def _length(text: str) -> list[str]:
    length = septets(text)
    if length is None:
        return ["it holds letters outside the basic alphabet of the phone network"]
    return [f"it takes {length} of {ONE_SEGMENT} septets"] if length > ONE_SEGMENT else []
