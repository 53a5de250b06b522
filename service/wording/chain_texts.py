"""The texts about people on the way: somebody is going, somebody is not out yet, does a text reach you.

Facts of their notices, beside those that every notice has (``at_ms``, ``zone``, ``invented``, ``room`` or none):

- ``taken``: ``person`` (name). Where ``room`` is none, it is about the whole site or about silence, and the text
  says "what you were told of".
- ``out again?``: ``room`` or none, ``reply`` (how an answer names it), ``look_ms`` (when somebody is sent).
- ``came out``: ``person`` and ``room`` as in ``look after``.
- ``no improvement``: ``person``, ``went_ms``, and the facts of the notice that started it, as of now: those of
  ``trouble``, of ``danger``, or of ``site`` and ``silence`` (``rooms`` and ``since_ms``).
- ``look after``: ``person``, ``phone`` or none, ``room`` or none for all rooms, ``since_ms``, ``until_ms``, and
  ``why``: ``going`` (since when they are on the way) or ``working`` (until when they meant to be inside).
- ``trial``: ``kind`` (``weekly``, ``night ring`` or ``by hand``), ``farm`` (name), and ``asks`` (true where not
  given): whether an answer can reach us at all.
- ``opted out``: ``person`` (name).

The Spanish is to be confirmed by a native reader.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from service.wording.fitting import ROOM_SEPTETS, bounded, cut_list, joined, person_name, replies, told_alike
from service.wording.language import Language
from service.wording.phrases import PHRASES_IN
from service.wording.reader import Reader

TrialKind = Literal["weekly", "night ring", "by hand"]

_FARM_SEPTETS: Final = 32
_PHONE_SEPTETS: Final = 16
_ROOMS_SEPTETS: Final = 40
_SHORT_NAME_SEPTETS: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainPhrases:
    """All phrases of one language."""

    taken: str
    taken_elsewhere: str
    out_again: str
    out_again_somewhere: str
    came_out: str
    came_out_somewhere: str

    still: str
    whole_farm: str

    went_in: str
    """Somebody said that they were going; ``was_working``: that they would work until a time."""
    went_in_somewhere: str
    was_working: str
    was_working_somewhere: str
    call: tuple[str, str]
    look: str
    """Where no number is known."""
    enter: tuple[str, str, str]
    """The longest form first."""

    trial: str
    trial_here: str
    trial_ring: str
    trial_nothing: str

    opted_out: str

    plain: str
    """For facts that cannot be put into words."""
    plain_danger: str
    farm: str


ENGLISH_CHAIN: Final = ChainPhrases(
    taken="{person} is going to {room}. Nothing for you to do now.",
    taken_elsewhere="{person} is going to see to the trouble you were told of. Nothing for you to do now.",
    out_again="{room}: are you out again? Text {reply} out. At {time} somebody is told to look for you.",
    out_again_somewhere="Are you out again? Text out. At {time} somebody is told to look for you.",
    came_out="{person} is out of {room}. No need to go and look for them.",
    came_out_somewhere="{person} is out. No need to go and look for them.",
    still="{where}: trouble since {since}. {person} went at {time}, no better since.",
    whole_farm="Whole farm",
    went_in="{person} went to {room} at {since}, no word since.",
    went_in_somewhere="{person} went at {since}, no word since.",
    was_working="{person} was due out of {room} at {until}, no word.",
    was_working_somewhere="{person} was due out at {until}, no word.",
    call=("Call {phone} or go.", "Call {phone}."),
    look="Go and look.",
    enter=(
        "Do not go in alone, air out from outside, meter at the door.",
        "Do not go in alone, air out, meter at the door.",
        "Do not go in alone, air out, meter at door.",
    ),
    trial="Test text from {farm}, {time}.",
    trial_here="Please reply HERE, so that we know texts reach you and your answers reach us.",
    trial_ring="Phone set as at night: did it ring? Then reply HERE. If not, let our number through.",
    trial_nothing="A text about a house will reach you like this one. Nothing to do.",
    opted_out=(
        "{person} has opted out of our texts at the phone company: none get through now."
        " Speak to them, or set another way to tell them."
    ),
    plain="{room}: something is wrong there, look at the page.",
    plain_danger="{room}: DANGER to people. Do not go in alone.",
    farm="Farm",
)

SPANISH_CHAIN: Final = ChainPhrases(
    taken="{person} va a {room}. Usted no tiene que hacer nada ahora.",
    taken_elsewhere="{person} va a atender el problema que le avisamos. Usted no tiene que hacer nada ahora.",
    out_again="{room}: ¿ya salio? Escriba {reply} fuera. A las {time} avisamos a alguien para que le busque.",
    out_again_somewhere="¿Ya salio? Escriba fuera. A las {time} avisamos a alguien para que le busque.",
    came_out="{person} ya salio de {room}. No hace falta ir a buscar.",
    came_out_somewhere="{person} ya salio. No hace falta ir a buscar.",
    still="{where}: problema desde las {since}. {person} fue a las {time} y no mejora.",
    whole_farm="Toda la granja",
    went_in="{person} fue a {room} a las {since}, sin noticias.",
    went_in_somewhere="{person} fue a las {since}, sin noticias.",
    was_working="{person} debia salir de {room} a las {until}.",
    was_working_somewhere="{person} debia salir a las {until}.",
    call=("Llame {phone} o vaya.", "Llame {phone}."),
    look="Vaya a ver.",
    enter=(
        "No entre solo, ventile desde fuera, mida en la puerta.",
        "No entre solo, ventile, mida en la puerta.",
        "No entre solo, ventile, mida en puerta.",
    ),
    trial="Prueba de {farm}, {time}.",
    trial_here="Responda AQUI, para saber que le llegan y que nos llegan sus respuestas.",
    trial_ring="Celular puesto como de noche: ¿sono? Responda AQUI. Si no, permita nuestro numero.",
    trial_nothing="Asi le llegara un aviso de una casa. No tiene que hacer nada.",
    opted_out=(
        "{person} rechazo nuestros mensajes con su telefonica: ya no le llega ninguno."
        " Hable con esa persona o ponga otra manera de avisarle."
    ),
    plain="{room}: algo anda mal ahi, vea la pagina.",
    plain_danger="{room}: PELIGRO para personas. No entre solo.",
    farm="Granja",
)

CHAIN_IN: Final[Mapping[Language, ChainPhrases]] = {"en": ENGLISH_CHAIN, "es": SPANISH_CHAIN}


@dataclass(frozen=True, slots=True, kw_only=True)
class StillFacts:
    """Trouble of the whole site, or silence, that somebody went to see to, and that is no better."""

    rooms: tuple[str, ...]
    """Names for texts; none where it is the whole farm."""
    since: str
    person: str
    went: str
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NotOutFacts:
    """Somebody who should be out of a room, and has not said so. Times are the farm's clock."""

    person: str
    phone: str | None
    room: str | None
    since: str
    until: str
    working: bool
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialFacts:
    """A text that asks whether texts arrive."""

    kind: TrialKind
    farm: str
    local_time: str
    asks: bool
    invented: bool


def taken_text(*, person: str, room: str | None, invented: bool, reader: Reader) -> str:
    """Somebody is going: for the others who were woken."""
    said = CHAIN_IN[reader.language]
    sentence = said.taken if room else said.taken_elsewhere
    text = sentence.format(person=person_name(person), room=bounded(room or "", ROOM_SEPTETS))
    return joined(text, _invented(reader, invented=invented))


def out_again_text(*, room: str | None, reply: str, local_time: str, invented: bool, reader: Reader) -> str:
    """Somebody should be out by now: asked of themselves, before anybody is woken for them."""
    said = CHAIN_IN[reader.language]
    sentence = said.out_again if room else said.out_again_somewhere
    text = sentence.format(
        room=bounded(room or "", ROOM_SEPTETS), reply=bounded(reply, ROOM_SEPTETS), time=local_time
    )
    return joined(text, _invented(reader, invented=invented))


def came_out_text(*, person: str, room: str | None, invented: bool, reader: Reader) -> str:
    """Somebody is out after all: for whoever was sent to look after them."""
    said = CHAIN_IN[reader.language]
    sentence = said.came_out if room else said.came_out_somewhere
    text = sentence.format(person=person_name(person), room=bounded(room or "", ROOM_SEPTETS))
    return joined(text, _invented(reader, invented=invented))


def still_text(facts: StillFacts, reader: Reader) -> str:
    """Somebody went, and it is no better: for the next person."""

    def ladder(one: Reader) -> Iterator[str]:
        said = CHAIN_IN[one.language]
        where = cut_list([bounded(room, ROOM_SEPTETS) for room in facts.rooms], _ROOMS_SEPTETS) or said.whole_farm
        text = said.still.format(where=where, since=facts.since, person=person_name(facts.person), time=facts.went)
        for reply in replies(one.answers, PHRASES_IN[one.language]):
            yield joined(text, reply, _invented(one, invented=facts.invented))

    return told_alike(ladder, reader)


def not_out_text(facts: NotOutFacts, reader: Reader) -> str:
    """Somebody went in and has not said out: for the next person."""
    return told_alike(lambda one: _not_out(facts, one), reader)


def _not_out(facts: NotOutFacts, reader: Reader) -> Iterator[str]:
    said, phrases = CHAIN_IN[reader.language], PHRASES_IN[reader.language]
    named, bare = replies(reader.answers, phrases)
    end = _invented(reader, invented=facts.invented)
    long, short = _call(facts, said)
    who = _who_is_in(facts, said, person_name(facts.person))
    for enter in said.enter:
        yield joined(who, long, enter, named, end)
    who = _who_is_in(facts, said, bounded(facts.person, _SHORT_NAME_SEPTETS))
    for call, reply in ((long, named), (long, bare), (short, bare)):
        for enter in said.enter[1:]:
            yield joined(who, call, enter, reply, end)
    yield joined(who, short, said.enter[-1], bare, phrases.invented_short if facts.invented else "")


def _call(facts: NotOutFacts, said: ChainPhrases) -> tuple[str, str]:
    if not facts.phone:
        return said.look, said.look
    phone = bounded(facts.phone, _PHONE_SEPTETS)
    return said.call[0].format(phone=phone), said.call[1].format(phone=phone)


def _who_is_in(facts: NotOutFacts, said: ChainPhrases, name: str) -> str:
    if facts.working:
        sentence = said.was_working if facts.room else said.was_working_somewhere
    else:
        sentence = said.went_in if facts.room else said.went_in_somewhere
    room = bounded(facts.room or "", ROOM_SEPTETS)
    return sentence.format(person=name, room=room, since=facts.since, until=facts.until)


def trial_text(facts: TrialFacts, reader: Reader) -> str:
    """A text in daylight, or the one that must ring on a muted phone, to see that texts and answers arrive."""
    said = CHAIN_IN[reader.language]
    head = said.trial.format(farm=bounded(facts.farm, _FARM_SEPTETS), time=facts.local_time)
    asked = said.trial_ring if facts.kind == "night ring" else said.trial_here
    return joined(head, asked if facts.asks else said.trial_nothing, _invented(reader, invented=facts.invented))


def opted_out_text(*, person: str, invented: bool, reader: Reader) -> str:
    """Somebody's phone company no longer delivers our texts: for the managers."""
    said = CHAIN_IN[reader.language].opted_out.format(person=person_name(person))
    return joined(said, _invented(reader, invented=invented))


def plain_text(*, room: str | None, danger: bool, language: Language) -> str:
    """Where to look, when no more can be said; English for a language nobody wrote."""
    said = CHAIN_IN.get(language, ENGLISH_CHAIN)
    sentence = said.plain_danger if danger else said.plain
    return sentence.format(room=bounded(room or said.farm, ROOM_SEPTETS))


def _invented(reader: Reader, *, invented: bool) -> str:
    return PHRASES_IN[reader.language].invented if invented else ""
