"""Bytes to plain values: text, JSON (RFC 8259) and CBOR (RFC 8949), with every way to fail closed off."""

from __future__ import annotations

import json
import math
from decimal import Decimal
from io import BytesIO
from typing import Any, Final

import cbor2

from service.messages import Reason
from service.wire.unusable import UnusableError, quoted

MESSAGE_BYTES: Final = 1_048_576
_CBOR_DEPTH: Final = 16
"""A pack is an array of maps: two deep. The rest is room for labels we do not read."""

_CBOR_FIRST_BYTES: Final = frozenset({*range(0x80, 0xA0), 0xD9})


def read_text(payload: bytes) -> str:
    """Return the text of a message, without a byte order mark.

    Raises:
        UnusableError: empty, or not UTF-8.
    """
    try:
        text = payload.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnusableError(Reason.NOT_TEXT, f"byte {error.start} of {len(payload)} is not UTF-8") from error
    if not text.strip():
        raise UnusableError(Reason.EMPTY, f"{len(payload)} bytes, no text")
    return text


def looks_like_cbor(payload: bytes) -> bool:
    """Tell a CBOR pack from a JSON pack by the first byte.

    A CBOR array begins with 0x80 to 0x9F, or with 0xD9 when it carries the self-describing tag 55799. No UTF-8
    text that JSON allows begins so: 0x80 to 0x9F only continue a character, and JSON begins in ASCII.
    """
    return payload[:1] != b"" and payload[0] in _CBOR_FIRST_BYTES


def parse_json(payload: bytes) -> Any:
    """Parse JSON. ``NaN`` and ``Infinity`` pass as floats, so that one such value does not spoil its neighbours.

    Raises:
        UnusableError: not text, not JSON, nested too deep, or the same key twice in one object.
    """
    text = read_text(payload)
    try:
        return json.loads(text, object_pairs_hook=_object)
    except ValueError as error:
        raise UnusableError(Reason.NOT_JSON, f"{quoted(str(error))}") from error
    except RecursionError as error:
        raise UnusableError(Reason.NOT_JSON, "nested too deep") from error


def parse_cbor(payload: bytes) -> Any:
    """Parse CBOR.

    Raises:
        UnusableError: empty, not CBOR, nested too deep, the same key twice in one map, or bytes left over.
    """
    if not payload:
        raise UnusableError(Reason.EMPTY, "0 bytes")
    stream = BytesIO(payload)
    # Everything is caught: tags run foreign code (dates, decimals), and no message may stop us.
    try:
        value = cbor2.CBORDecoder(stream, max_depth=_CBOR_DEPTH, allow_duplicate_keys=False).decode()
    except Exception as error:
        raise UnusableError(Reason.PACK, f"not CBOR: {quoted(str(error))}") from error
    left = len(payload) - stream.tell()
    if left:
        raise UnusableError(Reason.PACK, f"not CBOR: {left} bytes left over")
    return value


def number_of(seen: object) -> float:
    """Return a JSON or CBOR number as a finite float. True and false are not numbers.

    Raises:
        UnusableError: missing, another type, or not finite.
    """
    if seen is None:
        raise UnusableError(Reason.MISSING, "null")
    if isinstance(seen, bool) or not isinstance(seen, int | float | Decimal):
        raise UnusableError(Reason.NOT_A_NUMBER, quoted(seen))
    try:
        return finite(float(seen))
    except (OverflowError, ValueError) as error:  # beyond the largest float; a signalling decimal NaN
        raise UnusableError(Reason.NOT_FINITE, quoted(seen)) from error


def finite(number: float) -> float:
    """Return the number when it is finite.

    Raises:
        UnusableError: NaN or infinite.
    """
    if not math.isfinite(number):
        raise UnusableError(Reason.NOT_FINITE, str(number))
    return number


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise UnusableError(Reason.NOT_JSON, "the same key twice in one object")
    return made
