"""Moments on the wire: ISO 8601 text with its offset. Numbers and times without one are refused, never guessed."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Annotated, Final, TypeAlias

from pydantic import BeforeValidator, PlainSerializer, WithJsonSchema

from rules.model import FIRST_INSTANT, LAST_INSTANT, Instant
from service.errors import NotUnderstood
from service.localtime import instant

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_PLUS_LOST: Final = re.compile(r"(T.*) (\d\d:?\d\d)$")
"""In an address "+" means a space; a moment ahead of UTC arrives so unless the sender escaped it."""
_LIKE: Final = "write it like 2026-11-25T06:00:00-05:00"


def read_moment(given: object) -> Instant:
    """Turn text into an instant.

    Raises:
        ValueError: not text, not a moment, without its offset, or outside 1970 to 9999.
    """
    if not isinstance(given, str):
        raise ValueError(f"a moment is text: {_LIKE}")  # noqa: TRY004 - pydantic turns a ValueError into words
    try:
        moment = datetime.fromisoformat(_PLUS_LOST.sub(r"\1+\2", given))
    except ValueError as error:
        raise ValueError(f"not a moment: {_LIKE}") from error
    try:
        at_ms = instant(moment)
    except NotUnderstood as error:
        raise ValueError(str(error)) from error
    if not FIRST_INSTANT <= at_ms <= LAST_INSTANT:
        raise ValueError("a moment lies between the years 1970 and 9999")
    return at_ms


def show_moment(at_ms: Instant) -> str:
    """Return an instant in UTC, to the millisecond."""
    moment = _EPOCH + timedelta(milliseconds=at_ms)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


_SCHEMA: Final = WithJsonSchema({"type": "string", "format": "date-time"})

Moment: TypeAlias = Annotated[Instant, BeforeValidator(read_moment), _SCHEMA]
"""A moment in a request."""

Shown: TypeAlias = Annotated[Instant, PlainSerializer(show_moment, return_type=str), _SCHEMA]
"""A moment in an answer."""
