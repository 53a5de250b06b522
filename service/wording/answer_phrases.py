"""What we say back to somebody who answered, as whole sentences in both languages.

Every result has the same number of forms in each language, the fullest first. ``{say}`` is what to write next,
with the room's name before it. The Spanish is to be confirmed by a native reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from service.wording.language import Language


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerPhrases:
    """All phrases of one language."""

    words: Mapping[str, str]
    """What to write, by the meaning; for working with a time."""
    working_all: str
    whole_farm: str
    either: str
    results: Mapping[str, tuple[str, ...]]
    cautions: Mapping[str, tuple[str, ...]]

    nothing_open: str
    open: str
    open_more: str
    entry: str
    people_limit: str
    not_heard_entry: str
    still_in: str
    heard: str
    not_heard: str
    never_heard: str
    no_probes: str


ENGLISH_ANSWERS: Final = AnswerPhrases(
    words={
        "going": "going",
        "out": "out",
        "cannot": "cannot",
        "working": "working until 10",
        "probe": "probe",
        "fixed": "fixed",
        "why": "why",
        "status": "status",
        "here": "here",
    },
    working_all="working all until 10",
    whole_farm="Whole farm",
    either="{options} or {last}",
    results={
        "going": (
            "{room}: you are going, noted {time}. Text {say} when you are out.",
            "{room}: you are going. Text {say} when out.",
        ),
        "going too": (
            "{room}: {person} was first and is going. You are noted too, {time}. Text {say} when you are out.",
            "{room}: {person} was first. Text {say} when out.",
        ),
        "cannot": ("{room}: noted {time}, you cannot go. We tell whoever is next.",),
        "cannot, somebody goes": ("{room}: noted {time}, you cannot go. {person} is going.",),
        "out": ("{room}: noted {time}, you are out.",),
        "out everywhere": ("Noted {time}, you are out of every house.",),
        "out nowhere": ("Noted {time}, you are out.",),
        "fixed": (
            "{room}: noted {time}, fixed. You hear when it is over. Text {say} when you are out.",
            "{room}: noted {time}, fixed. Text {say} when out.",
        ),
        "probe": ("{room}: noted {time}, it was the probe. Nobody else is told. See to the probe on the round.",),
        "probe, people": (
            "{room}: noted {time}. Danger to people is told all the same. Do not go in alone, meter at the door.",
        ),
        "back in band": ("{room} was back in band at {other}. Noted {time}.",),
        "over": ("{room}: it was over at {other}. Noted {time}.",),
        "over, people": (
            "{room}: the danger text ended at {other}. Noted {time}. Meter at the door before anyone goes in.",
        ),
        "which": ("Which house? Text {say}.",),
        "nothing": ("Nothing waits for an answer now. Noted {time}.",),
        "nothing there": ("{room}: nothing waits for an answer now. Noted {time}.",),
        "working": (
            "{room}: working there until {other}, noted {time}. Crop texts wait, danger to people does not.",
            "{room}: working until {other}. Crop texts wait, danger to people does not.",
        ),
        "working all": (
            "All houses: working until {other}, noted {time}. Crop texts wait, danger to people does not.",
        ),
        "until when": ("Until when? Text {say}.",),
        "working where": ("Which house, until when? Text {say}.",),
        "too long": ("Not noted: that is past, or more than 12 h ahead. Text {say}.",),
        "stage": ("{room}: {stage} from {time} on. Its limits are those of {stage} now.",),
        "stage where": ("Which house? Text the house and the stage.",),
        "stage, no crop": ("{room}: no crop is written down there. Nothing changed.",),
        "stage, several": ("{room}: more than one batch is there. Move them on the page. Nothing changed.",),
        "stage, unknown": ("{room}: its crop has no such stage. Nothing changed.",),
        "stage, not later": ("{room}: {stage} is not a later stage. Change it on the page. Nothing changed.",),
        "stage, refused": ("{room}: {stage} has to be looked at on the page first. Nothing changed.",),
        "here": ("Noted {time}: your answers reach us.",),
        "texts again": ("Noted {time}: texts go to this phone again.",),
        "help": (
            "Not understood. Text house and word: {say}, cannot, out, fixed, probe, why. Or status, or {working}.",
            "Not understood. Text a house and one word: {say}, cannot, out, fixed, probe, why.",
        ),
    },
    cautions={
        "co2": (
            "Do not go in alone. Air out from outside, then meter at the door.",
            "Do not go in alone. Air out, meter at the door.",
        ),
        "cooler": (
            "Do not go in alone, check the inside release.",
            "Not alone, check the inside release.",
        ),
        "power": (
            "Wiring: power off and locked. Generator: CO2 probes do not see carbon monoxide.",
            "Power off and locked. Carbon monoxide: no probe sees it.",
        ),
        "belt": (
            "Fan, belt: power off and locked first.",
            "Power off and locked first.",
        ),
    },
    nothing_open="Nothing open at {time}.",
    open="Open: {entries}.",
    open_more="Open: {entries}, {count} more.",
    entry="{name} {what} {duration}",
    people_limit="CO2 people limit",
    not_heard_entry="not heard",
    still_in="somebody not out",
    heard="Every probe heard in the last {duration}.",
    not_heard="Probe {name} last heard {duration} ago.",
    never_heard="Probe {name} never heard.",
    no_probes="No probe is in place.",
)

SPANISH_ANSWERS: Final = AnswerPhrases(
    words={
        "going": "voy",
        "out": "fuera",
        "cannot": "no puedo",
        "working": "trabajo hasta las 10",
        "probe": "sonda",
        "fixed": "arreglado",
        "why": "por que",
        "status": "estado",
        "here": "aqui",
    },
    working_all="trabajo todo hasta las 10",
    whole_farm="Toda la granja",
    either="{options} o {last}",
    results={
        "going": (
            "{room}: usted va, anotado {time}. Al salir escriba {say}.",
            "{room}: usted va. Al salir escriba {say}.",
        ),
        "going too": (
            "{room}: {person} fue primero y ya va. Usted tambien queda anotado, {time}. Al salir escriba {say}.",
            "{room}: {person} fue primero. Al salir escriba {say}.",
        ),
        "cannot": ("{room}: anotado {time}, usted no puede ir. Avisamos a quien sigue.",),
        "cannot, somebody goes": ("{room}: anotado {time}, usted no puede ir. {person} va.",),
        "out": ("{room}: anotado {time}, usted esta fuera.",),
        "out everywhere": ("Anotado {time}, usted esta fuera de todas las casas.",),
        "out nowhere": ("Anotado {time}, usted esta fuera.",),
        "fixed": (
            "{room}: anotado {time}, arreglado. Le avisamos cuando termine. Al salir escriba {say}.",
            "{room}: anotado {time}, arreglado. Al salir escriba {say}.",
        ),
        "probe": ("{room}: anotado {time}, fue la sonda. No avisamos a nadie mas. Revise la sonda en la ronda.",),
        "probe, people": (
            "{room}: anotado {time}. El peligro para personas se avisa igual. No entre solo, medidor a la puerta.",
        ),
        "back in band": ("{room} volvio a su rango a las {other}. Anotado {time}.",),
        "over": ("{room}: termino a las {other}. Anotado {time}.",),
        "over, people": (
            "{room}: aviso de peligro hasta las {other}. Anotado {time}. Medidor en la puerta antes de entrar.",
        ),
        "which": ("¿Qué casa? Escriba {say}.",),
        "nothing": ("Nada espera respuesta ahora. Anotado {time}.",),
        "nothing there": ("{room}: nada espera respuesta ahora. Anotado {time}.",),
        "working": (
            "{room}: trabaja ahi hasta las {other}, anotado {time}. Avisos del cultivo esperan, peligro no.",
            "{room}: trabaja hasta las {other}. Avisos del cultivo esperan, peligro no.",
        ),
        "working all": (
            "Todas las casas: trabaja hasta las {other}, anotado {time}. Avisos del cultivo esperan, peligro no.",
        ),
        "until when": ("¿Hasta qué hora? Escriba {say}.",),
        "working where": ("¿Qué casa y hasta qué hora? Escriba {say}.",),
        "too long": ("No anotado: ya paso, o son mas de 12 h. Escriba {say}.",),
        "stage": ("{room}: {stage} desde las {time}. Sus limites ya son los de {stage}.",),
        "stage where": ("¿Qué casa? Escriba la casa y la etapa.",),
        "stage, no crop": ("{room}: no hay cultivo anotado ahi. Nada cambio.",),
        "stage, several": ("{room}: hay mas de un lote. Muevalos en la pagina. Nada cambio.",),
        "stage, unknown": ("{room}: su cultivo no tiene esa etapa. Nada cambio.",),
        "stage, not later": ("{room}: {stage} no es una etapa posterior. Cambiela en la pagina. Nada cambio.",),
        "stage, refused": ("{room}: {stage} se debe ver antes en la pagina. Nada cambio.",),
        "here": ("Anotado {time}: sus respuestas nos llegan.",),
        "texts again": ("Anotado {time}: los mensajes van otra vez a este teléfono.",),
        "help": (
            "No se entiende. Escriba: {say}, no puedo, fuera, arreglado, sonda, por que. O estado, o {working}.",
            "No se entiende. Escriba casa y palabra: {say}, no puedo, fuera, arreglado, sonda, por que.",
        ),
    },
    cautions={
        "co2": (
            "No entre solo. Ventile desde fuera, luego medidor en la puerta.",
            "No entre solo. Ventile, medidor en la puerta.",
        ),
        "cooler": (
            "No entre solo, revise la salida de emergencia.",
            "No solo, revise la salida de emergencia.",
        ),
        "power": (
            "Cables: corte y bloquee la luz. Generador: las sondas de CO2 no ven el monoxido.",
            "Corte y bloquee la luz. Monoxido: ninguna sonda lo ve.",
        ),
        "belt": (
            "Ventilador, banda: corte y bloquee la luz antes.",
            "Corte y bloquee la luz antes.",
        ),
    },
    nothing_open="Nada abierto a las {time}.",
    open="Abierto: {entries}.",
    open_more="Abierto: {entries}, {count} mas.",
    entry="{name} {what} {duration}",
    people_limit="CO2 limite personas",
    not_heard_entry="sin oir",
    still_in="alguien no ha salido",
    heard="Todas las sondas oidas en los ultimos {duration}.",
    not_heard="Sonda {name} oida hace {duration}.",
    never_heard="Sonda {name} nunca oida.",
    no_probes="Ninguna sonda puesta.",
)

ANSWERS_IN: Final[Mapping[Language, AnswerPhrases]] = {"en": ENGLISH_ANSWERS, "es": SPANISH_ANSWERS}
