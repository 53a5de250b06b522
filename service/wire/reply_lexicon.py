"""The words of answers in both languages, with the slips of thumbs in the dark, and what may stand around them.

Spelled as :mod:`service.wire.reply_tokens` leaves a text: lower case, no accents, no apostrophes. A word of ours
is never one that phone companies keep for themselves; those are listed apart, as orders.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Final, TypeAlias

from service.wire.word import Word


class Order(StrEnum):
    """What a sender tells the phone company, not us."""

    OPT_OUT = "opt out"
    OPT_IN = "opt in"
    HELP = "help"


class Part(StrEnum):
    """Pieces that mean something only beside another."""

    NOT = "not"
    GO = "go"
    """To go or come, which nobody has said they do."""
    CAN = "can"
    ALL = "all"
    ROOM = "room"
    """A word for a room, before its number."""
    FILLER = "filler"


Meaning: TypeAlias = Word | Part
Phrase: TypeAlias = tuple[str, ...]

ORDERS: Final[Mapping[str, Order]] = {
    **dict.fromkeys(
        ("stop", "end", "cancel", "quit", "unsubscribe", "stopall", "alto", "baja", "parar"), Order.OPT_OUT
    ),
    **dict.fromkeys(("start", "yes", "unstop"), Order.OPT_IN),
    **dict.fromkeys(("help", "info", "ayuda"), Order.HELP),
}
POLITE: Final = frozenset({"please", "all", "por", "favor", "pls"})
"""What may stand beside an order without making it anything else."""

_WORDS: Final[Mapping[Word, str]] = {
    Word.GOING: (
        "going, goin, gong, goign, giong, gowing, omw, on my way, on the way, coming, comin, "
        "voy, voi, yavoy, ahivoy, vamos, yendo, llendo, en camino, de camino"
    ),
    Word.OUT: "out, imout, fuera, afuera, sali, salimos, yasali",
    Word.CANNOT: (
        "cannot, cant, canot, cannt, cantgo, unable, couldnt, can t, no can do, "
        "nopuedo, no puedo, nopuedoir, imposible, notgoing, novoy"
    ),
    Word.WORKING: (
        "working, workin, wrking, work, "
        "trabajo, trabajando, trabajamos, travajo, travajando, trabajar, voy a trabajar"
    ),
    Word.PROBE: "probe, prob, sonda, sensor",
    Word.FIXED: "fixed, fixd, arreglado, arreglada, arregle, areglado, reparado, reparada",
    Word.WHY: "why, wy, por que, porque, porq, xq, pq, x que",
    Word.STATUS: "status, staus, estado, estatus",
    Word.HERE: "here, hear, aqui, aki, aca, presente",
}
_PARTS: Final[Mapping[Part, str]] = {
    Part.NOT: "not, no, nope, wont, isnt, arent, aint, never, nobody, none, nadie, nunca, tampoco, ni, neither",
    Part.GO: "go, come, ir, gonna, ire, venir",
    Part.CAN: "can, able, puedo, podre, podemos",
    Part.ALL: "all, everywhere, everything, todo, todos, toda, todas",
    Part.ROOM: "house, hs, room, casa, cuarto, sala, nave, number, numero, num",
    Part.FILLER: (
        "i, im, iam, ive, ill, am, we, were, are, is, its, it, was, the, to, in, at, of, on, my, now, right, ok, "
        "okay, k, please, pls, thanks, thank, you, thx, hi, hello, hey, boss, there, this, that, be, will, just, "
        "already, yes, yep, yeah, sure, got, inside, an, a, re, fwd, done, "
        "yo, ya, estoy, estamos, esta, es, el, la, los, las, lo, al, en, de, del, por, favor, ahora, ahorita, si, "
        "bueno, bien, gracias, hola, jefe, jefa, mi, me, para, pa, alla, ahi, ay, hacia, vale, pues, y, fui, "
        "mismo, senor, senora, enseguida, listo"
    ),
}

STAGES_IN_SPANISH: Final[Mapping[str, str]] = {
    "antlers": "cuernos, astas",
    "browning": "pardeo, oscurecimiento",
    "cap start": "sombrerito, sombreritos",
    "caps": "sombreros",
    "case run": "cobertura",
    "cold hold": "en frio, frio",
    "fronds": "frondas, hojas",
    "fruiting": "desarrollo, fructificacion",
    "incubation": "incubacion, encubacion",
    "picked": "cosechado, cortado",
    "pins": "pines, primordios",
    "rest": "descanso, reposo",
    "ripening": "maduracion",
    "soak": "remojo",
    "spawn run": "incubacion, colonizacion",
    "storage": "almacen",
}
"""How the stages that ship are called by a crew that speaks Spanish. To be confirmed by a native reader."""

UNTIL: Final = frozenset({"until", "untill", "untl", "till", "til", "hasta", "asta"})
BEFORE_TIME: Final = frozenset({"las", "la", "the", "at", "a", "about"})
MORNING: Final = frozenset({"am", "manana", "madrugada", "morning"})
EVENING: Final = frozenset({"pm", "tarde", "noche", "evening", "afternoon", "night", "tonight"})
AFTER_TIME: Final = frozenset({"de", "la", "in", "the", "at", "por", "oclock", "h", "hs", "hrs", "hr"})
NAMED_TIMES: Final[Mapping[str, int]] = {"noon": 720, "mediodia": 720, "midnight": 0, "medianoche": 0}

_LEAST_LETTERS: Final = 5
"""Shorter words have too many neighbours that are words themselves."""


def _phrases(listed: str) -> list[Phrase]:
    return [tuple(phrase.split()) for phrase in listed.split(", ")]


MEANINGS: Final[Mapping[Phrase, Meaning]] = {
    **{phrase: part for part, listed in _PARTS.items() for phrase in _phrases(listed)},
    **{phrase: word for word, listed in _WORDS.items() for phrase in _phrases(listed)},
}
LONGEST_PHRASE: Final = max(map(len, MEANINGS))
_LONG_WORDS: Final = sorted(
    phrase[0]
    for phrase, meaning in MEANINGS.items()
    if isinstance(meaning, Word) and len(phrase) == 1 and len(phrase[0]) >= _LEAST_LETTERS
)


def meaning_of_slip(token: str) -> Word | None:
    """The word that a token is one slip away from, if it is the only one; the first letter has to be right."""
    if len(token) < _LEAST_LETTERS or not token.isalpha():
        return None
    near = {MEANINGS[(word,)] for word in _LONG_WORDS if word[0] == token[0] and _one_slip(token, word)}
    found = near.pop() if len(near) == 1 else None
    return found if isinstance(found, Word) else None


def _one_slip(typed: str, meant: str) -> bool:
    """One letter more, less or other, or two neighbours changed about."""
    if abs(len(typed) - len(meant)) > 1:
        return False
    start = next((n for n, (a, b) in enumerate(zip(typed, meant, strict=False)) if a != b), None)
    if start is None:
        return True
    a, b = typed[start:], meant[start:]
    return a[1:] == b[1:] or a[1:] == b or a == b[1:] or (a[:2] == b[1::-1] and a[2:] == b[2:])


def stage_phrases(stages: Mapping[str, Phrase]) -> dict[Phrase, tuple[str, ...]]:
    """How each stage may be called; a name that is a word of ours or an order is not taken for a stage.

    Args:
        stages: the name of each as tokens, by itself.
    """
    found: dict[Phrase, tuple[str, ...]] = {}
    for stage, tokens in stages.items():
        for phrase in {tokens, *_phrases(STAGES_IN_SPANISH.get(" ".join(tokens), ""))}:
            taken = phrase in MEANINGS or (len(phrase) == 1 and phrase[0] in ORDERS)
            if phrase and not taken:
                found[phrase] = (*found.get(phrase, ()), stage)
    return found
