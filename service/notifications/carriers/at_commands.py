"""What a modem says line by line (3GPP TS 27.007 and TS 27.005), read without a modem.

Only lines that were asked for are read. A modem speaks by itself as well (a call, a text, the network gone),
between any two lines of an answer, and whatever is not understood is passed over.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

GOOD: Final = "OK"
_TROUBLE: Final = re.compile(r"\+(CMS|CME) ERROR: *(\d{1,3})")
_UNKNOWN: Final = 500
"""+CMS ERROR "unknown error"."""
_CMS_OF_CME: Final = {
    3: 302, 4: 303, 5: 311, 6: 312, 7: 312, 10: 310, 11: 311, 12: 316, 13: 313, 14: 314, 15: 315, 16: 311, 17: 317,
    18: 318, 20: 322, 23: 320, 30: 331, 31: 332, 32: 331,
}  # fmt: skip
"""The same troubles by the numbers of TS 27.007 section 9.2 and of TS 27.005 section 3.2.5."""
_SAID: Final = {
    1: "no such number", 8: "barred by the carrier", 10: "barred by the carrier", 21: "turned down by the network",
    27: "the phone is out of service", 28: "the carrier does not know that phone",
    30: "the carrier does not know us", 38: "the network is out of order", 41: "the network failed for a moment",
    42: "the network is too busy", 47: "the network is too busy", 50: "the card's contract has no texts",
    302: "not allowed", 304: "not a phone number", 310: "no SIM card", 311: "the SIM card asks for its PIN",
    312: "locked to another SIM card", 313: "the SIM card failed", 314: "the SIM card is busy",
    315: "the wrong SIM card", 316: "the SIM card asks for its PUK", 317: "the SIM card asks for its PIN2",
    318: "the SIM card asks for its PUK2", 322: "the memory is full", 330: "the text centre's number is missing",
    331: "no network", 332: "the network did not answer", 500: "failed, and does not say why",
}  # fmt: skip
_LOCKED: Final = {"SIM PIN": 311, "SIM PUK": 316, "SIM PIN2": 317, "SIM PUK2": 318}
_UNLOCKED: Final = "READY"
_REGISTERED: Final = frozenset({1, 5, 6, 7})
"""At home or roaming; 6 and 7 are the same for texts only."""
_MOST_SIGNAL: Final = 31
_CAME: Final = frozenset({0, 1})
"""Unread and read, as against what was written to be sent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """The line that ends an answer."""

    good: bool
    status: int = 0
    """As in +CMS ERROR."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A text that waits in the modem's memory."""

    index: int
    digits: str


def final(line: str) -> End | None:
    """What the line ends the answer with, if it does."""
    if line == GOOD:
        return End(good=True)
    numbered = _TROUBLE.fullmatch(line)
    if numbered is not None:
        status = int(numbered[2])
        return End(good=False, status=status if numbered[1] == "CMS" else _CMS_OF_CME.get(status, _UNKNOWN))
    if line == "ERROR" or line.startswith(("+CMS ERROR", "+CME ERROR")):
        return End(good=False, status=_UNKNOWN)
    return None


def said(status: int) -> str:
    """A status in words."""
    return f"{status} {_SAID.get(status, 'trouble')}"


def card(lines: Iterable[str]) -> int:
    """0 when ``AT+CPIN?`` said that the card may be used, else what keeps it."""
    for value in _values("+CPIN:", lines):
        return 0 if value == _UNLOCKED else _LOCKED.get(value, 312)
    return _UNKNOWN


def registered(name: str, lines: Iterable[str]) -> bool:
    """Whether ``AT+CREG?`` (or CEREG) said that there is a network.

    Asked for, the line has a mode before the state; what a modem says by itself has none.
    """
    for value in _values(f"+{name}:", lines):
        asked = re.match(r"[0-5], *(\d{1,2})(?:,|$)", value)
        if asked is not None:
            return int(asked[1]) in _REGISTERED
    return False


def signal(lines: Iterable[str]) -> int | None:
    """Signal strength by ``AT+CSQ``, 0 to 31, if it is known."""
    for value in _values("+CSQ:", lines):
        strength = re.match(r"(\d{1,2}) *,", value)
        if strength is not None and int(strength[1]) <= _MOST_SIGNAL:
            return int(strength[1])
    return None


def sent_as(lines: Iterable[str]) -> str | None:
    """The number that the network gave a text."""
    return next((value for value in _values("+CMGS:", lines) if value[:1].isdigit()), None)


def kept(lines: Iterable[str]) -> Iterator[Kept]:
    """The texts that came, from the answer to ``AT+CMGL=4``: a line about each, and its digits in the next."""
    index: int | None = None
    for line in lines:
        about = re.match(r"\+CMGL: *(\d+), *(\d+)", line)
        if about is not None:
            index = int(about[1]) if int(about[2]) in _CAME else None
        elif index is not None and re.fullmatch(r"(?:[0-9A-Fa-f]{2}){8,}", line):
            yield Kept(index=index, digits=line)
            index = None


def _values(prefix: str, lines: Iterable[str]) -> Iterator[str]:
    for line in lines:
        if line.startswith(prefix):
            yield line.removeprefix(prefix).strip().strip('"')
