"""A text message as the octets that a modem takes and gives (3GPP TS 23.040), in its alphabet (TS 23.038).

We hand a modem octets as hexadecimal digits (PDU mode) and not letters (text mode). In text mode the alphabet's
own escape, 0x1B, is also the key that cancels a message, and 0x1A, a Greek capital, is the key that ends one; and
what the other letters mean hangs on a setting that modems read in different ways. Digits mean the same to all.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from rules.model import MINUTE_MS, SECOND_MS, Instant
from service.wording.segments import ONE_SEGMENT, cut, segments, to_gsm7

_ESCAPE: Final = 0x1B
_ALPHABET: Final = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""TS 23.038 section 6.2.1, in the order of the codes."""
_EXTENSION: Final = {
    "\f": 0x0A, "^": 0x14, "{": 0x28, "}": 0x29, "\\": 0x2F, "[": 0x3C, "~": 0x3D, "]": 0x3E, "|": 0x40, "€": 0x65,
}  # fmt: skip
_CODE: Final = {letter: (code,) for code, letter in enumerate(_ALPHABET)} | {
    letter: (_ESCAPE, code) for letter, code in _EXTENSION.items()
}
_ESCAPED: Final = {code: letter for letter, code in _EXTENSION.items()}

_SEPTET: Final = 7
_INTERNATIONAL: Final = 0x91
_ALPHANUMERIC: Final = 0x50
_KIND_OF_NUMBER: Final = 0x70
_SUBMIT_VALID_FOR: Final = 0x11
"""SMS-SUBMIT with a relative validity period; no receipt asked for."""
_HAS_HEADER: Final = 0x40
_DELIVER: Final = 0x00
_KIND_OF_MESSAGE: Final = 0x03
_STAMP_OCTETS: Final = 7
_CENTURY: Final = 2000
_BEHIND: Final = 0x8
"""The sign of a zone, in the digit of its tens."""
_UCS2: Final = 2
_STEP_MIN: Final = 5
_LONGEST_STEPS_MIN: Final = 12 * 60
_HALF_HOUR: Final = 30
_LONGEST_HALF_HOURS_MIN: Final = 24 * 60
_DAY_MIN: Final = 24 * 60
_MOST_DAYS: Final = 30
_DIGITS_OF: Final = "0123456789*#abc"


@dataclass(frozen=True, slots=True, kw_only=True)
class Submit:
    """What ``AT+CMGS`` takes: the digits, and how many octets they are without the service centre's."""

    digits: str
    octets: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """A text that came."""

    phone: str
    """In E.164 form where the network said so, else as it said it, which may be a name."""
    text: str
    stamp: str
    """When the service centre took it, as its own digits: enough to tell two equal texts apart."""


def submit(to: str, text: str, *, valid_min: int) -> Submit:
    """One text to a phone number in E.164 form, put into the basic alphabet and into one part.

    Raises:
        ValueError: ``to`` is no such number.
    """
    if not re.fullmatch(r"\+[1-9][0-9]{3,14}", to):
        raise ValueError("not a phone number in international form")
    codes = septets(in_one_part(text))
    number = to.removeprefix("+")
    address = bytes([len(number), _INTERNATIONAL]) + _swapped(number)
    whole = (
        bytes([0x00, _SUBMIT_VALID_FOR, 0x00])
        + address
        + bytes([0x00, 0x00, validity(valid_min), len(codes)])
        + pack(codes)
    )
    return Submit(digits=whole.hex().upper(), octets=len(whole) - 1)


def in_one_part(text: str) -> str:
    """Ours fit; should one not, its beginning is worth more than a second part that may come first, or never."""
    near = to_gsm7(text)
    return near if segments(near).units <= ONE_SEGMENT else cut(near, ONE_SEGMENT - 3) + "..."


def septets(text: str) -> list[int]:
    """The codes of a text in the basic alphabet."""
    return [code for letter in text for code in _CODE[letter]]


def pack(codes: Iterable[int], *, fill_bits: int = 0) -> bytes:
    """Seven bits to a code, the first in the lowest bits (TS 23.038 section 6.1.2.1)."""
    bits, count = 0, fill_bits
    for code in codes:
        bits |= code << count
        count += _SEPTET
    return bits.to_bytes((count + 7) // 8, "little")


def unpack(octets: bytes, count: int, *, fill_bits: int = 0) -> list[int]:
    """The first ``count`` codes in ``octets``."""
    bits = int.from_bytes(octets, "little") >> fill_bits
    return [bits >> (_SEPTET * place) & 0x7F for place in range(count)]


def validity(minutes: int) -> int:
    """How long the network tries, as one octet (TS 23.040 section 9.2.3.12.1); where possible not longer."""
    if minutes <= _LONGEST_STEPS_MIN:
        return max(minutes // _STEP_MIN - 1, 0)
    if minutes <= _LONGEST_HALF_HOURS_MIN:
        return 143 + (minutes - _LONGEST_STEPS_MIN) // _HALF_HOUR
    days = minutes // _DAY_MIN
    return 166 + max(days, 1) if days <= _MOST_DAYS else 196


def delivered(digits: str) -> Delivered:
    """Read a text that came, service centre's number first.

    Raises:
        ValueError: the digits are no such message.
    """
    octets = bytes.fromhex(digits)
    try:
        return _delivered(octets[1 + octets[0] :])
    except IndexError:
        raise ValueError("the message is cut short") from None


def moment_of(stamp: str) -> Instant | None:
    """When the service centre took it: swapped digits, the last two a zone in quarters of an hour."""
    swapped = "".join(stamp[place + 1] + stamp[place] for place in range(0, len(stamp) - 1, 2))
    try:
        years, months, days, hours, minutes, seconds = (
            int(swapped[place : place + 2]) for place in range(0, 12, 2)
        )
        at = datetime(_CENTURY + years, months, days, hours, minutes, seconds, tzinfo=UTC)
        zone = int(swapped[12], 16)
        quarters = (zone & 0x7) * 10 + int(swapped[13])
    except (ValueError, IndexError):
        return None
    ahead = -quarters if zone & _BEHIND else quarters
    return round(at.timestamp()) * SECOND_MS - ahead * 15 * MINUTE_MS


def _delivered(octets: bytes) -> Delivered:
    first = octets[0]
    if first & _KIND_OF_MESSAGE != _DELIVER:
        raise ValueError("not a text that came")
    length = 2 + (octets[1] + 1) // 2
    if not octets[1]:
        raise ValueError("nobody sent it")
    phone = _number(octets[1 : 1 + length])
    rest = octets[1 + length :]
    coding, stamp = rest[1], rest[2 : 2 + _STAMP_OCTETS]
    count, data = rest[2 + _STAMP_OCTETS], rest[3 + _STAMP_OCTETS :]
    text = _text(data, count, _alphabet(coding), has_header=bool(first & _HAS_HEADER))
    return Delivered(phone=phone, text=text, stamp=stamp.hex())


def _text(data: bytes, count: int, alphabet: int, *, has_header: bool) -> str:
    if len(data) < (count if alphabet else (count * _SEPTET + 7) // 8):
        raise ValueError("the message is cut short")
    header = 1 + data[0] if has_header else 0
    if alphabet == _UCS2:
        return data[header:count].decode("utf-16-be", "replace")
    if alphabet:
        return data[header:count].decode("latin-1")
    fill_bits = -header * 8 % _SEPTET
    codes = unpack(data[header:], count - (header * 8 + fill_bits) // _SEPTET, fill_bits=fill_bits)
    return letters(codes)


def letters(codes: Sequence[int]) -> str:
    """Codes as a text. An unknown escape shows the letter that it stands before (TS 23.038 section 6.2.1.1)."""
    said, escaped = [], False
    for code in codes:
        if escaped:
            said.append(" " if code == _ESCAPE else _ESCAPED.get(code, _ALPHABET[code]))
        elif code != _ESCAPE:
            said.append(_ALPHABET[code])
        escaped = code == _ESCAPE and not escaped
    return "".join(said)


def _alphabet(coding: int) -> int:
    """0 for seven bits, 1 for octets, 2 for UCS-2 (TS 23.038 section 4)."""
    group = coding >> 4
    if group < 0x4:  # noqa: PLR2004 - general data coding
        return coding >> 2 & 0x03
    if group == 0xE:  # noqa: PLR2004 - message waiting, UCS-2
        return _UCS2
    return coding >> 2 & 0x01 if group == 0xF else 0  # noqa: PLR2004 - data coding and class


def _number(octets: bytes) -> str:
    digits, kind, value = octets[0], octets[1], octets[2:]
    if kind & _KIND_OF_NUMBER == _ALPHANUMERIC:
        return letters(unpack(value, digits * 4 // _SEPTET))
    pairs = [nibble for octet in value for nibble in (octet & 0x0F, octet >> 4)]
    said = "".join(_DIGITS_OF[nibble] for nibble in pairs[:digits])
    return f"+{said}" if kind & _KIND_OF_NUMBER == _INTERNATIONAL & _KIND_OF_NUMBER else said


def _swapped(number: str) -> bytes:
    """Two digits to an octet, the second first, an odd one filled with F."""
    padded = number + "f" * (len(number) % 2)
    return bytes.fromhex("".join(padded[place + 1] + padded[place] for place in range(0, len(padded), 2)))
