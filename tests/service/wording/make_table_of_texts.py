"""Writes TEXTS.md of this folder from every text there is: python -m tests.service.wording.make_table_of_texts"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from service.wording.segments import ONE_SEGMENT, segments
from tests.support.families_of_texts import Family, Pair, families, side_by_side

PAGE: Final = Path(__file__).parent / "TEXTS.md"

_HEADER: Final = """\
# Every text in both languages

The Spanish is **to be confirmed by a native reader** from the crew: none has read it yet. It is written without
the accents of a, i, o and u, which the basic alphabet of text messages lacks; n with tilde, e with accent and
inverted marks are in it.

For every kind of text there is one as it usually reads (or a short one), and the longest that its family's tests
know, with the longest names, the widest figures and how to answer. The number is its length; one text message
holds {most}. Clauses that one language has no room for go in both.

This page is generated from `tests/support/every_text`: `python -m tests.service.wording.make_table_of_texts`. A
test holds it to the texts, and every text to one message, its alphabet, and the same figures in both languages.
"""


def table() -> str:
    """The whole page."""
    parts = [_HEADER.format(most=ONE_SEGMENT)]
    for family in families():
        parts.append(f"\n## {family.name.replace('_', ' ').capitalize()}\n")
        parts.extend(_section(family, template) for template in family.every)
    return "".join(parts)


def _section(family: Family, template: str) -> str:
    every = side_by_side(family.name, template)
    one = ("usual", every[0]) if family.first_is_usual else ("short", min(every, key=_longer))
    lines = [
        f"\n### {template}\n",
        "| | English | Spanish (to be confirmed by a native reader) |",
        "|---|---|---|",
        _row(*one),
        _row("longest", max(every, key=_longer)),
    ]
    return "\n".join(lines) + "\n"


def _row(case: str, pair: Pair) -> str:
    cells = [f"{text.replace('|', '&#124;').replace(chr(10), '<br>')} ({_length(text)})" for text in pair]
    return f"| {case} | {' | '.join(cells)} |"


def _longer(pair: Pair) -> int:
    return max(map(_length, pair))


def _length(text: str) -> int:
    return segments(text).units


if __name__ == "__main__":
    PAGE.write_text(table(), encoding="utf-8")
