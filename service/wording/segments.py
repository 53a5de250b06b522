"""How a text message is counted and which letters it may hold.

A phone network carries a message in 140 octets. Written wholly in the basic alphabet (7 bits a character) that
is 160 characters; one letter from outside it, such as the degree sign, makes the whole message 16-bit and cuts
it to 70. Longer messages are split, and every part gives up room for a header. Alphabet and extension table:
3GPP TS 23.038 section 6.2.1; lengths and the rule that no pair is split: 3GPP TS 23.040 section 9.2.3.24.1.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from service.errors import NotUnderstood

BASIC: Final = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ"
    " !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION: Final = frozenset("\f^{}\\[~]|€")
"""Sent as an escape and a second septet: each costs two."""

ONE_SEGMENT: Final = 160
_GSM7_PART: Final = 153
_UCS2_ONE: Final = 70
_UCS2_PART: Final = 67
_LAST_SINGLE_UNIT: Final = 0xFFFF

_REPLACED: Final = str.maketrans(
    {
        "\N{DEGREE SIGN}": "",
        "\N{LEFT SINGLE QUOTATION MARK}": "'",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{SINGLE LOW-9 QUOTATION MARK}": "'",
        "\N{PRIME}": "'",
        "\N{GRAVE ACCENT}": "'",
        "\N{ACUTE ACCENT}": "'",
        "\N{LEFT DOUBLE QUOTATION MARK}": '"',
        "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
        "\N{DOUBLE LOW-9 QUOTATION MARK}": '"',
        "\N{LEFT-POINTING DOUBLE ANGLE QUOTATION MARK}": '"',
        "\N{RIGHT-POINTING DOUBLE ANGLE QUOTATION MARK}": '"',
        "\N{EN DASH}": "-",
        "\N{EM DASH}": "-",
        "\N{MINUS SIGN}": "-",
        "\N{NON-BREAKING HYPHEN}": "-",
        "\N{BULLET}": "-",
        "\N{MIDDLE DOT}": "-",
        "\N{MULTIPLICATION SIGN}": "x",
        "\N{LESS-THAN OR EQUAL TO}": "<=",
        "\N{GREATER-THAN OR EQUAL TO}": ">=",
        "\N{PLUS-MINUS SIGN}": "+-",
        "\N{LATIN SMALL LETTER C WITH CEDILLA}": "Ç",
        "Ł": "L",
        "ł": "l",
        "Đ": "D",
        "đ": "d",
        "Œ": "OE",
        "œ": "oe",
        "\N{LATIN SMALL LETTER DOTLESS I}": "i",
        "ẞ": "SS",
    }
)

Encoding = Literal["GSM-7", "UCS-2"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """What a text costs: its alphabet, its length in that alphabet's units, and the parts it is sent in."""

    encoding: Encoding
    units: int
    count: int


def is_gsm7(text: str) -> bool:
    return all(letter in BASIC or letter in EXTENSION for letter in text)


def segments(text: str) -> Segments:
    if is_gsm7(text):
        widths = [2 if letter in EXTENSION else 1 for letter in text]
        return _counted("GSM-7", widths, ONE_SEGMENT, _GSM7_PART)
    widths = [2 if ord(letter) > _LAST_SINGLE_UNIT else 1 for letter in text]
    return _counted("UCS-2", widths, _UCS2_ONE, _UCS2_PART)


def to_gsm7(text: str) -> str:
    """The nearest thing to ``text`` in the basic alphabet; what has no near thing becomes "?" or goes.

    Accents that the alphabet lacks are dropped from their letter, so "límite" reads "limite" and "señal" keeps
    its tilde. Symbols without a replacement (emoji, the degree sign) are left out; letters become "?", because
    a name that silently shrinks would be read as another name.
    """
    return "".join(_near(letter) for letter in unicodedata.normalize("NFC", text).translate(_REPLACED))


def cut(text: str, septets: int) -> str:
    """As much of ``text``, already in the basic alphabet, as fits into ``septets``, without an end space."""
    kept, used = [], 0
    for letter in text:
        used += 2 if letter in EXTENSION else 1
        if used > septets:
            break
        kept.append(letter)
    return "".join(kept).strip()


def text_name(name: str, limit: int) -> str:
    """The name by which texts call a room, stage or species: basic alphabet, one line, at most ``limit``.

    Raises:
        NotUnderstood: nothing of the name can be written in a text.
    """
    short = cut(one_line(to_gsm7(name)), limit)
    if not short.strip("? "):
        raise NotUnderstood(f"the name {name!r} has no letters or digits that a text message can carry")
    return short


def one_line(text: str) -> str:
    return " ".join(text.split())


def _near(letter: str) -> str:
    if letter in BASIC or letter in EXTENSION:
        return letter
    if letter.isspace():
        return " "
    plain = "".join(part for part in unicodedata.normalize("NFKD", letter) if part in BASIC)
    if plain:
        return plain
    return "?" if unicodedata.category(letter)[0] in {"L", "N"} else ""


def _counted(encoding: Encoding, widths: list[int], single: int, part: int) -> Segments:
    units = sum(widths)
    return Segments(encoding=encoding, units=units, count=1 if units <= single else _parts(widths, part))


def _parts(widths: Iterable[int], part: int) -> int:
    """Fill parts one after the other; a pair that does not fit moves whole to the next part."""
    count, used = 1, 0
    for width in widths:
        if used + width > part:
            count, used = count + 1, 0
        used += width
    return count
