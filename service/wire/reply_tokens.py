"""From whatever a phone sent to plain tokens: lower-case words without accents, and numbers."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

LONGEST: Final = 600
"""An answer is short; what comes after that many characters is a signature or a quotation."""
_NUMBER_SIGNS: Final = re.compile("\N{NUMERO SIGN}|[nN]\\s?[\N{MASCULINE ORDINAL INDICATOR}\N{DEGREE SIGN}]")
_REFUSING: Final = re.compile(
    "[\N{NO ENTRY SIGN}\N{CROSS MARK}\N{HEAVY MULTIPLICATION X}\N{THUMBS DOWN SIGN}"
    "\N{FACE WITH NO GOOD GESTURE}\N{NO ENTRY}\N{NEGATIVE SQUARED CROSS MARK}]"
)
"""Pictures that say no."""
_APOSTROPHES: Final = re.compile(
    "['`\N{ACUTE ACCENT}\N{LEFT SINGLE QUOTATION MARK}\N{RIGHT SINGLE QUOTATION MARK}]"
)
_LETTER_REPEATED: Final = re.compile(r"([a-z])\1{2,}")
_HALF_OF_DAY: Final = re.compile(r"(?<=\d)\s?([ap])\.?\s?m\b\.?")
_CLOCK: Final = re.compile(r"(?<![\d:.])(\d{1,2})[:.h](\d{2})(?![\d:])")
_TOKEN: Final = re.compile(r"\d{1,2}:\d{2}|\d+|[^\W\d_]+")
_QUOTED: Final = re.compile(r"\s*[>|]")
_LEADING: Final = re.compile(r"\W*?(?:[\[(]([^\])\d]{1,24})[\])]|([^\W\d_][^:\d\n]{0,22}):(?=\s|$))\s*")
_TRAILING: Final = re.compile(r"\s+[-/~\N{EN DASH}\N{EM DASH}]\s*([^\W\d_][^\n\d]{0,24})$")


def lines_of(text: str) -> list[str]:
    """The lines of a text that somebody wrote, without those quoted from us."""
    written = _NUMBER_SIGNS.sub("#", text[:LONGEST])
    return [line for line in written.splitlines() if line.strip() and not _QUOTED.match(line)]


def tokens_of(line: str) -> list[str]:
    """A line as tokens: words, whole numbers, and times such as ``10:30``."""
    folded = fold(_REFUSING.sub(" not ", line))
    folded = _HALF_OF_DAY.sub(r" \1m ", _CLOCK.sub(r" \1:\2 ", folded))
    return _TOKEN.findall(folded)


def fold(text: str) -> str:
    """Lower case, without accents, one kind of digits, no apostrophes, nothing invisible."""
    # Twice, because the plain form of a capital may carry an accent of its own.
    apart = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", _APOSTROPHES.sub("", text)).casefold())
    kept = (_plain(letter) for letter in apart if unicodedata.category(letter) not in {"Mn", "Me", "Cf", "Cs"})
    return _LETTER_REPEATED.sub(r"\1", "".join(kept))


def signatures_of(line: str) -> list[tuple[str, str]]:
    """Where a line may carry a name before or after what it says: (the name, the rest)."""
    found = []
    if ahead := _LEADING.match(line):
        found.append((ahead[1] or ahead[2], line[ahead.end() :]))
    if behind := _TRAILING.search(line):
        found.append((behind[1], line[: behind.start()]))
    return found


def _plain(letter: str) -> str:
    digit = unicodedata.decimal(letter, None)
    return letter if digit is None else str(digit)
