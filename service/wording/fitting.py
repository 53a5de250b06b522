"""Making a text fit: names cut to length, how to answer with a name or without, the fullest text that fits."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Final

from service.wording.language import LANGUAGES
from service.wording.phrases import Phrases
from service.wording.reader import WHOLE_FARM, Answers, Reader
from service.wording.segments import ONE_SEGMENT, cut, one_line, segments, to_gsm7

ROOM_SEPTETS: Final = 12
PERSON_SEPTETS: Final = 16
_SAID_TWICE_SEPTETS: Final = 6
"""A longer name stands once in the words to reply."""


def fits(text: str) -> bool:
    return segments(text).units <= ONE_SEGMENT


def told_alike(ladder: Callable[[Reader], Iterable[str]], reader: Reader) -> str:
    """The fullest text that fits in every language, in this reader's own; the shortest where none does.

    A clause that one language has no room for goes in all of them: two people who were woken by the same thing
    read the same figures.

    Args:
        ladder: what a reader may be told, the fullest first; equally long in every language.
        reader: whoever is told.
    """
    mine, last = LANGUAGES.index(reader.language), ""
    for rung in zip(*(ladder(replace(reader, language=language)) for language in LANGUAGES), strict=True):
        last = rung[mine]
        if all(fits(text) for text in rung):
            break
    return last


def joined(*sentences: str) -> str:
    """The sentences that say something, one after the other."""
    return " ".join(sentence for sentence in sentences if sentence)


def bounded(name: str, septets: int) -> str:
    """A name as a text carries it: basic alphabet, one line, so long at most."""
    return cut(one_line(to_gsm7(name)), septets)


def person_name(name: str) -> str:
    """A person's name, or as many of its words as fit: "Maria Fernanda Lopez" is "Maria Fernanda"."""
    whole = one_line(to_gsm7(name))
    while segments(whole).units > PERSON_SEPTETS and " " in whole:
        whole = whole.rpartition(" ")[0]
    return cut(whole, PERSON_SEPTETS)


def cut_list(names: Sequence[str], septets: int) -> str:
    """As many names as fit, and how many more there are: "House 3, House 4 +7"."""
    for count in range(len(names), 0, -1):
        rest = f" +{len(names) - count}" if count < len(names) else ""
        said = ", ".join(names[:count]) + rest
        if segments(said).units <= septets:
            return said
    return ""


def capital(words: str) -> str:
    """With a large first letter, if the basic alphabet has it."""
    return to_gsm7(words[:1].upper()) + words[1:]


def replies(answers: Answers | None, phrases: Phrases) -> tuple[str, str]:
    """How to answer, with the room's name and without; both empty where no answer is asked for.

    Whoever cannot be heard by text is given a link, for which there may be no room.

    Without is for texts that would not fit otherwise: whoever answers so while several things are open is asked
    which one they mean.
    """
    if answers is None:
        return ("", "")
    if answers.link is not None:
        return (phrases.reply_link.format(link=answers.link), "")
    whole_farm = answers.reply_name == WHOLE_FARM
    name = phrases.reply_farm if whole_farm else bounded(answers.reply_name, ROOM_SEPTETS)
    is_short = segments(name).units <= _SAID_TWICE_SEPTETS
    named = phrases.reply_each if is_short else phrases.reply_once
    return (named.format(name=name), phrases.reply_bare)
