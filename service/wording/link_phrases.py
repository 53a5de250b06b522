"""The sentences of the page that an answering link opens.

Short words, digits, no idiom: read on a weak phone by somebody just woken. All Spanish is to be confirmed by a
native reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from service.wording.language import Language


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkPhrases:
    """All sentences of one language."""

    going_on: Mapping[str, str]
    """By what it is about; of somebody who is looked for, by what they did there."""
    over: str
    beyond: str
    beyond_bare: str
    """Where the limit is not known any more."""
    beyond_no_value: str
    contact: str
    in_room: str

    is_going: str
    nobody_going: str
    you_are: str
    answer_as: str
    button: Mapping[str, str]
    """By the word that is answered, as below."""
    is_out: str
    out_for: str
    """The button and the sentence for somebody else who is out."""
    over_nothing_to_do: str

    before: str
    caution: str
    caution_cooler: str
    caution_co2: tuple[str, ...]

    written_down: Mapping[str, str]
    was_over: str
    others_going: str
    then_out: str
    to_out: str
    used: Mapping[str, str]
    used_for: str
    other_answer: str
    too_old: str
    look_newest: str
    nothing_waits: str
    invented: str
    not_understood: str


ENGLISH: Final = LinkPhrases(
    going_on={
        "room": "{name}: past its limit since {time}, and still so.",
        "people": "{name}: over the CO2 limit for people since {time}, and still so.",
        "site": "Several places at once since {time}, and still so.",
        "silence": "{name}: nothing heard since {time}, and still so.",
        "out": "{person} went to {name} at {time} and has not said out.",
        "working": "{person} has worked in {name} since {time} and has not said out.",
    },
    over="{name}: over since {time}.",
    beyond="{what} now {value}, {side} limit {limit}.",
    beyond_bare="{what} now {value}.",
    beyond_no_value="{what}: no reading in the last 15 min.",
    contact="{what} {value}.",
    in_room="{room}: {said}",
    is_going="{name} is going, said at {time}.",
    nobody_going="Nobody has said that they are going.",
    you_are="You said at {time} that you are going.",
    answer_as="You answer as {name}.",
    button={"going": "Going", "cannot": "Cannot", "out": "Out"},
    is_out="{person} is out",
    out_for="Written down at {time}: {person} is out.",
    over_nothing_to_do="Nothing to answer any more.",
    before="Before you go in.",
    caution=(
        "Follow your local codes. Power off and locked before anyone touches a belt, a pump or wiring: qualified "
        "people only."
    ),
    caution_cooler="Do not work in the cooler alone, and check first that its door opens from inside.",
    caution_co2=(
        "Do not go in alone.",
        "Do not trust the number: it is a room average, not what you breathe.",
        "Air out from outside, then measure with a meter at the door before anyone goes in.",
        "CO2 probes do not see carbon monoxide.",
    ),
    written_down={
        "going": "Written down at {time}: you are going.",
        "cannot": "Written down at {time}: you cannot. The next person is told.",
        "out": "Written down at {time}: you are out.",
    },
    was_over="It was over by then, since {time}.",
    others_going="Going before you: {names}.",
    then_out="Say out when you have left, or somebody will be told to look for you.",
    to_out="I am out",
    used={
        "going": "Going, written down at {time}.",
        "cannot": "Cannot, written down at {time}.",
        "out": "Out, written down at {time}.",
    },
    used_for="This link was used at {time}.",
    other_answer="For another answer, use a newer text or mail, or call.",
    too_old="This link is too old. It worked until {time}.",
    look_newest="Look for a newer text or mail, or call.",
    nothing_waits="Nothing waits for this answer any more. Nothing was changed.",
    invented="Invented data.",
    not_understood="That was not understood, and nothing was changed. Choose one of the answers.",
)

SPANISH: Final = LinkPhrases(
    going_on={
        "room": "{name}: fuera de su límite desde las {time}, y sigue igual.",
        "people": "{name}: sobre el límite de CO2 para personas desde las {time}, y sigue igual.",
        "site": "Varios lugares a la vez desde las {time}, y sigue igual.",
        "silence": "{name}: sin señal desde las {time}, y sigue igual.",
        "out": "{person} fue a {name} a las {time} y no ha dicho que salió.",
        "working": "{person} trabaja en {name} desde las {time} y no ha dicho que salió.",
    },
    over="{name}: terminó a las {time}.",
    beyond="{what} ahora {value}, {side} límite {limit}.",
    beyond_bare="{what} ahora {value}.",
    beyond_no_value="{what}: sin lectura en los últimos 15 min.",
    contact="{what} {value}.",
    in_room="{room}: {said}",
    is_going="{name} va, dicho a las {time}.",
    nobody_going="Nadie ha dicho que va.",
    you_are="Usted dijo a las {time} que va.",
    answer_as="Usted responde como {name}.",
    button={"going": "Voy", "cannot": "No puedo", "out": "Salí"},
    is_out="{person} ya salió",
    out_for="Anotado a las {time}: {person} ya salió.",
    over_nothing_to_do="Ya no hay nada que responder.",
    before="Antes de entrar.",
    caution=(
        "Siga las normas locales. Corte y bloquee la corriente antes de tocar correas, bombas o cables: solo "
        "personal capacitado."
    ),
    caution_cooler="No trabaje a solas en el cuarto frío, y revise primero que la puerta abra desde adentro.",
    caution_co2=(
        "No entre a solas.",
        "No confíe en el número: es un promedio del cuarto, no lo que usted respira.",
        "Ventile desde afuera, y mida con un medidor en la puerta antes de que alguien entre.",
        "Las sondas de CO2 no ven el monóxido de carbono.",
    ),
    written_down={
        "going": "Anotado a las {time}: usted va.",
        "cannot": "Anotado a las {time}: usted no puede. Se avisa a la siguiente persona.",
        "out": "Anotado a las {time}: usted salió.",
    },
    was_over="Para entonces ya había terminado, a las {time}.",
    others_going="Ya iban: {names}.",
    then_out="Diga que salió cuando haya salido, o se avisará a alguien para que le busque.",
    to_out="Ya salí",
    used={
        "going": "Voy, anotado a las {time}.",
        "cannot": "No puedo, anotado a las {time}.",
        "out": "Salí, anotado a las {time}.",
    },
    used_for="Este enlace se usó a las {time}.",
    other_answer="Para otra respuesta use un mensaje o correo más nuevo, o llame.",
    too_old="Este enlace es demasiado viejo. Servía hasta las {time}.",
    look_newest="Busque un mensaje o correo más nuevo, o llame.",
    nothing_waits="Ya nada espera esta respuesta. No se cambió nada.",
    invented="Datos inventados.",
    not_understood="No se entendió, y no se cambió nada. Elija una de las respuestas.",
)

LINK_PHRASES_IN: Final[Mapping[Language, LinkPhrases]] = {"en": ENGLISH, "es": SPANISH}

LEADS_NOWHERE: Final[Mapping[Language, tuple[str, str]]] = {
    "en": ("This address leads nowhere.", "If it came in a text or a mail, open the whole of it, or call."),
    "es": ("Esta dirección no lleva a nada.", "Si vino en un mensaje o correo, ábrala completa, o llame."),
}
"""Said to somebody of whom nothing is known, so in every language."""
TOO_MANY: Final[Mapping[Language, tuple[str, str]]] = {
    "en": ("Too many wrong addresses.", "A right one works all the same. Try again in a few minutes, or call."),
    "es": ("Demasiadas direcciones equivocadas.", "Una correcta sirve igual. Pruebe en unos minutos, o llame."),
}
NOT_NOW: Final[Mapping[Language, tuple[str, str]]] = {
    "en": ("Not possible just now.", "Nothing was changed. Try again in a minute, or call."),
    "es": ("Ahora no se puede.", "No se cambió nada. Pruebe en un minuto, o llame."),
}
