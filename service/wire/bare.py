"""A number, or the state of a contact, sent as bare text."""

from __future__ import annotations

import re
from typing import Final

from service.messages import Reason
from service.wire.syntax import finite
from service.wire.unusable import UnusableError, quoted

_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_NOT_FINITE: Final = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_THOUSANDS: Final = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_LONGEST: Final = 64

_STATES: Final = {"on": 1.0, "true": 1.0, "off": 0.0, "false": 0.0}


def parse_number(text: str) -> float:
    """Read "91.4", " 91,4 ", "1e3". A comma before exactly three digits may mean thousands, so it is refused.

    Raises:
        UnusableError: empty, not a number, or not finite.
    """
    trimmed = text.strip(" \t\r\n")
    if not trimmed:
        raise UnusableError(Reason.EMPTY, "no text")
    if _NOT_FINITE.fullmatch(trimmed):
        raise UnusableError(Reason.NOT_FINITE, quoted(trimmed))
    if len(trimmed) > _LONGEST or not _NUMBER.fullmatch(trimmed):
        raise UnusableError(Reason.NOT_A_NUMBER, quoted(trimmed))
    if _THOUSANDS.fullmatch(trimmed):
        raise UnusableError(Reason.NOT_A_NUMBER, f"{quoted(trimmed)} may be a decimal comma or thousands")
    return finite(float(trimmed.replace(",", ".")))


def parse_state(text: str) -> float:
    """Read a contact: 1, on, true, or 0, off, false. Words for doors are refused: "open" has no agreed side.

    Raises:
        UnusableError: anything else that is not a number.
    """
    state = _STATES.get(text.strip().lower())
    return parse_number(text) if state is None else state
