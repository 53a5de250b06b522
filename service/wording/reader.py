"""For whom a text is written: the language and units, and whether an answer is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from service.wording.language import Language
from service.wording.units import Units

WHOLE_FARM: Final = "farm"
"""The reply name of what is of no one room; every language has its own word for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """How this person can answer a text about one thing."""

    reply_name: str
    """By what name an answer tells the room: "7" for House 7 where no other room has that number. Texts name it
    also where nothing else is open: an answer without a name that comes late could mean another room by then."""
    link: str | None = None
    """Where to answer, for somebody whose answers by text have never reached us."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """One person, as far as words depend on them."""

    units: Units
    language: Language
    name: str = ""
    answers: Answers | None = None
    """``None``: the text carries no reply words, because no answer of this person has ever reached us."""
