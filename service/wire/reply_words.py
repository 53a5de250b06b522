"""What a person answered by text, understood in English or Spanish.

Whoever answers has just been woken: case, accents, spaces, order of words, pictures and slips of the thumb are all
the same. What is not wholly understood is not understood at all: taking "nobody is going" for "going" would let
everyone sleep. So every word of an answer must be known, a question is no answer, and "not going" is "cannot".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final, TypeAlias

from service.wire.reply_lexicon import (
    LONGEST_PHRASE,
    MEANINGS,
    ORDERS,
    POLITE,
    UNTIL,
    Order,
    Part,
    meaning_of_slip,
    stage_phrases,
)
from service.wire.reply_times import Until, time_in
from service.wire.reply_tokens import lines_of, signatures_of, tokens_of
from service.wire.word import Word

_ASKING: Final = frozenset({Word.WHY, Word.STATUS, Word.HERE})
"""What may end in a question mark; anything else then asks whether it is so."""
_COMES: Final = frozenset({Word.GOING, Word.CANNOT})


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """An answer that was understood."""

    word: Word
    room_id: str | None = None
    """The room that was named."""
    all_rooms: bool = False
    until: Until | None = None
    """For ``WORKING``; ``None`` when no time was said."""
    stages: tuple[str, ...] = ()
    """For ``STAGE``: what it may be, as the caller named them; two stages of two crops can have one name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotUnderstood:
    """A text that means nothing to us, or two things at once."""

    why: str


Reading: TypeAlias = Said | Order | NotUnderstood


def read(text: str, names: Mapping[str, str], stages: Iterable[str] = ()) -> Reading:
    """Understand an answer.

    Args:
        text: as it came.
        names: the name in texts of everything that can be named, by its id.
        stages: the names of stages that can be said.

    Returns:
        What was said; an order to the phone company, which is none of ours; or that it is not understood.
    """
    lines = lines_of(text)
    order = _order(lines)
    if order is not None:
        return order
    book = _Book.of(names, stages)
    sorted_lines = [line for written in lines if (line := _sorted(written, book)).is_something]
    clean = _clean(sorted_lines)
    if not clean:
        return NotUnderstood(why="words that are not known")
    return _together(clean)


def reply_name(text_name: str, all_names: Iterable[str]) -> str:
    """How an answer names a room: its number where it is the only one with it, else its name."""
    mine = _numbers(tokens_of(text_name))
    others = [_numbers(tokens_of(name)) for name in all_names if name != text_name]
    if len(mine) == 1 and not any(mine & theirs for theirs in others):
        return str(next(iter(mine)))
    return text_name


@dataclass(frozen=True, slots=True, kw_only=True)
class _Book:
    """What can be named, as tokens."""

    names: Mapping[tuple[str, ...], frozenset[str]]
    numbers: Mapping[int, frozenset[str]]
    stages: Mapping[tuple[str, ...], tuple[str, ...]]
    longest: int
    """Tokens of the longest of all that is known."""

    @classmethod
    def of(cls, names: Mapping[str, str], stages: Iterable[str]) -> _Book:
        by_name: dict[tuple[str, ...], frozenset[str]] = {}
        by_number: dict[int, frozenset[str]] = {}
        for room_id, name in names.items():
            tokens = _plain_numbers(tokens_of(name))
            if len(tokens) > 1 or (tokens and _may_name(tokens[0])):
                by_name[tokens] = by_name.get(tokens, frozenset()) | {room_id}
            for number in _numbers(tokens):
                by_number[number] = by_number.get(number, frozenset()) | {room_id}
        folded = {stage: _plain_numbers(tokens_of(stage)) for stage in stages}
        known = stage_phrases(folded)
        longest = max(LONGEST_PHRASE, *map(len, by_name), *map(len, known), 1)
        return cls(names=by_name, numbers=by_number, stages=known, longest=longest)


@dataclass(slots=True, kw_only=True)
class _Line:
    """A line with its tokens sorted by what they are."""

    words: set[Word] = field(default_factory=set)
    parts: set[Part] = field(default_factory=set)
    rooms: set[frozenset[str]] = field(default_factory=set)
    stages: set[tuple[str, ...]] = field(default_factory=set)
    times: set[Until] = field(default_factory=set)
    unknown: int = 0
    asks: bool = False

    @property
    def says(self) -> bool:
        """Whether anything in it bears on an answer."""
        return bool(self.words or self.parts & {Part.NOT, Part.CAN, Part.GO} or self.stages)

    @property
    def is_something(self) -> bool:
        return bool(self.says or self.rooms or self.times or self.parts or self.unknown)


def _order(lines: Sequence[str]) -> Order | None:
    tokens = [token for line in lines for token in tokens_of(line)]
    orders = {token for token in tokens if token in ORDERS}
    if len(orders) == 1 and not set(tokens) - orders - POLITE:
        return ORDERS[orders.pop()]
    return None


def _clean(lines: Sequence[_Line]) -> list[_Line]:
    """The lines of which every word is known; none, where something unknown was said before them."""
    clean: list[_Line] = []
    for line in lines:
        if not line.unknown:
            clean.append(line)
        elif line.says and not any(before.says for before in clean):
            return []
    return clean


def _together(lines: Sequence[_Line]) -> Reading:
    parts = {part for line in lines for part in line.parts}
    words = {word for line in lines for word in line.words}
    stages = {stage for line in lines for stage in line.stages}
    rooms = {room for line in lines for room in line.rooms}
    times = {time for line in lines for time in line.times}
    word = _one_word(words | ({Word.STAGE} if stages else set()), parts)
    if word is None:
        return NotUnderstood(why="no word of ours, or two that do not go together")
    if len(stages) > 1 or len(times) > 1 or (times and word is not Word.WORKING):
        return NotUnderstood(why="more than one thing at once")
    if any(line.asks for line in lines) and word not in _ASKING:
        return NotUnderstood(why="a question")
    common = frozenset.intersection(*rooms) if rooms else frozenset()
    if rooms and len(common) != 1:
        return NotUnderstood(why="not one room that is meant")
    return Said(
        word=word,
        room_id=next(iter(common), None),
        all_rooms=Part.ALL in parts and not rooms,
        until=next(iter(times), None),
        stages=next(iter(stages), ()),
    )


def _one_word(words: set[Word], parts: set[Part]) -> Word | None:
    """What the words of an answer come to, if they come to one thing."""
    if Part.NOT in parts:
        refuses = (words or parts & {Part.GO, Part.CAN}) and words <= _COMES
        return Word.CANNOT if refuses else None
    if len(words) != 1:
        return None
    word = next(iter(words))
    may_go, may_can = word in _COMES, word is Word.CANNOT
    if (Part.GO in parts and not may_go) or (Part.CAN in parts and not may_can):
        return None
    return word


def _sorted(line: str, book: _Book) -> _Line:
    """Sort a line's tokens; a name set before or after what is said is left out where that helps."""
    whole = _sort(line, book)
    if not whole.unknown:
        return whole
    for name, rest in signatures_of(line):
        signed, said = _sort(name, book), _sorted(rest, book)
        if not signed.says and not signed.rooms and said.is_something and not said.unknown:
            return said
    return whole


def _sort(line: str, book: _Book) -> _Line:
    found = _Line(asks="?" in line or "\N{INVERTED QUESTION MARK}" in line)
    tokens = tokens_of(line)
    # Number seven, or no and then seven: nobody can tell.
    found.unknown += any(word == "no" and after[0].isdecimal() for word, after in pairwise(tokens))
    at = 0
    while at < len(tokens):
        at += _take(tokens, at, book, found)
    return found


def _take(whole: Sequence[str], start: int, book: _Book, found: _Line) -> int:
    """Sort what stands at ``start``; return how many tokens that took."""
    tokens = whole[start:]
    for length in range(min(book.longest, len(tokens)), 0, -1):
        phrase = _plain_numbers(tokens[:length])
        # A room may be called "A", which is a small word besides: it is meant where it stands first or last.
        stands_out = phrase not in MEANINGS or start in {0, len(whole) - 1}
        if phrase in book.names and stands_out:
            found.rooms.add(book.names[phrase])
            return length
        if phrase in book.stages:
            found.stages.add(book.stages[phrase])
            return length
        if phrase in MEANINGS:
            return length + _mean(MEANINGS[phrase], tokens[length:], book, found)
    first = tokens[0]
    if first in UNTIL:
        until, length = time_in(tokens[1:])
        found.unknown += until is None
        found.times |= set() if until is None else {until}
        return 1 + length
    if first.isdecimal() and int(first) in book.numbers:
        found.rooms.add(book.numbers[int(first)])
    elif (slip := meaning_of_slip(first)) is not None:
        found.words.add(slip)
    else:
        found.unknown += 1
    return 1


def _mean(meaning: Word | Part, after: Sequence[str], book: _Book, found: _Line) -> int:
    """Take a known phrase down; return how many tokens after it belong to it."""
    if isinstance(meaning, Word):
        found.words.add(meaning)
    else:
        found.parts.add(meaning)
    number = int(after[0]) if meaning is Part.ROOM and after and after[0].isdecimal() else None
    if number is None or number not in book.numbers:
        return 0
    named = book.numbers[number]
    # Where several rooms have the number, those that are called a house, in whatever language.
    houses = {room for name, rooms in book.names.items() if MEANINGS.get(name[:1]) is Part.ROOM for room in rooms}
    found.rooms.add((named & houses) or named)
    return 1


def _plain_numbers(tokens: Iterable[str]) -> tuple[str, ...]:
    return tuple(str(int(token)) if token.isdecimal() else token for token in tokens)


def _may_name(token: str) -> bool:
    """Whether a single word can stand for a room: not one of ours, nor of the phone companies."""
    return MEANINGS.get((token,), Part.FILLER) is Part.FILLER and token not in ORDERS


def _numbers(tokens: Iterable[str]) -> set[int]:
    return {int(token) for token in tokens if token.isdecimal()}
