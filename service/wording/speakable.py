"""A text as a voice can read it: figures with their units in words, no short forms, said twice.

Who is called at night hears the first words half asleep, so everything comes a second time. The Spanish is to be
confirmed by a native reader.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from service.wording.language import Language


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """What one language says for what is only written."""

    one: Mapping[str, str]
    """Units after a 1."""
    several: Mapping[str, str]
    degrees: str
    minus: str
    to: str
    signs: Mapping[str, str]
    short: Mapping[str, str]
    """Short forms that stand alone."""
    whole: str
    caution: str
    """Nobody should be sent into a room alone by a voice in the night."""
    caution_of_danger: str


VOICE_IN: Final[Mapping[Language, Voice]] = {
    "en": Voice(
        one={"min": "minute", "h": "hour", "lb": "pound", "kg": "kilogram"},
        several={
            "min": "minutes",
            "h": "hours",
            "lb": "pounds",
            "kg": "kilograms",
            "V": "volts",
            "dBm": "decibels",
            "lx": "lux",
            "hPa": "hectopascals",
            "inHg": "inches of mercury",
        },
        degrees="degrees",
        minus="minus",
        to="to",
        signs={"%RH": "percent", "%": "percent", "&": "and", "/": "per"},
        short={"ppm": "parts per million", "temp": "temperature"},
        whole="This is Houseband, a machine. {text} {caution} Once more. {text} {caution}",
        caution="Do not go in alone.",
        caution_of_danger="Do not go in alone. Air out from outside, then measure with a meter at the door.",
    ),
    "es": Voice(
        one={"min": "minuto", "h": "hora", "lb": "libra", "kg": "kilogramo"},
        several={
            "min": "minutos",
            "h": "horas",
            "lb": "libras",
            "kg": "kilogramos",
            "V": "voltios",
            "dBm": "decibelios",
            "lx": "lux",
            "hPa": "hectopascales",
            "inHg": "pulgadas de mercurio",
        },
        degrees="grados",
        minus="menos",
        to="a",
        signs={"%RH": "por ciento", "%": "por ciento", "&": "y", "/": "por"},
        short={"ppm": "partes por millón", "temp": "temperatura"},
        whole="Habla Houseband, una máquina. {text} {caution} Otra vez. {text} {caution}",
        caution="No entre solo.",
        caution_of_danger="No entre solo. Ventile desde fuera y luego mida con un medidor en la puerta.",
    ),
}
_TEMPERATURE: Final = re.compile(r"(?<!\w)(-?)(\d+(?:\.\d+)?) ?\N{DEGREE SIGN}?([CF])\b")
_PHONE: Final = re.compile(r"\+(\d{7,15})\b")
"""A number with its country (ITU-T E.164), which is read digit by digit."""
_SCALES: Final = {"F": "Fahrenheit", "C": "Celsius"}
_ONE: Final = "1"


def speakable(text: str, language: Language, *, names: Iterable[str] = ()) -> str:
    """``text`` without anything that a voice would stumble over; ``names`` stay as they are written."""
    kept = sorted((name for name in names if name), key=len, reverse=True)
    one_line = " ".join(text.split())
    if not kept:
        return _said(one_line, VOICE_IN[language])
    pieces = re.split(rf"\b({'|'.join(map(re.escape, kept))})(?!\w)", one_line)
    said = [piece if place % 2 else _said(piece, VOICE_IN[language]) for place, piece in enumerate(pieces)]
    return "".join(said)


def spoken(
    text: str, language: Language, *, danger: bool, sends_nobody: bool = False, names: Iterable[str] = ()
) -> str:
    """What a call says, from the first word to the last."""
    voice = VOICE_IN[language]
    said = speakable(text, language, names=names)
    ended = said if said.endswith((".", "!", "?")) else f"{said}."
    caution = voice.caution_of_danger if danger else voice.caution
    unsaid = sends_nobody or (not danger and voice.caution.removesuffix(".") in ended)
    return " ".join(voice.whole.format(text=ended, caution="" if unsaid else caution).split())


def _said(piece: str, voice: Voice) -> str:
    said = re.sub(r"\bCO2\b", "C O 2", piece)
    said = _PHONE.sub(lambda found: " ".join(found[1]), said)
    said = re.sub(r"(?<=\d)-(?=\d)", f" {voice.to} ", said)
    said = re.sub(r"(?<=\d),(?=\d{3}\b)", "", said)
    said = _TEMPERATURE.sub(lambda found: _degrees(found, voice), said)
    said = re.sub(r"(?<![\w.])-(?=\d)", f"{voice.minus} ", said)
    units = "|".join(voice.several)
    said = re.sub(rf"(?<![\w.:])(\d+(?:\.\d+)?) ?({units})\b", lambda found: _unit(found, voice), said)
    for sign, word in voice.signs.items():
        said = re.sub(rf" ?{re.escape(sign)} ?(?=\w)", f" {word} ", said)
        said = re.sub(f" ?{re.escape(sign)}", f" {word}", said)
    short = "|".join(voice.short)
    return re.sub(rf"\b({short})\b", lambda found: _word(found[1], voice), said, flags=re.IGNORECASE)


def _degrees(found: re.Match[str], voice: Voice) -> str:
    minus = f"{voice.minus} " if found[1] else ""
    return f"{minus}{found[2]} {voice.degrees} {_SCALES[found[3]]}"


def _unit(found: re.Match[str], voice: Voice) -> str:
    return f"{found[1]} {(voice.one if found[1] == _ONE else {}).get(found[2], voice.several[found[2]])}"


def _word(short: str, voice: Voice) -> str:
    word = voice.short[short.lower()]
    return word.capitalize() if short[0].isupper() else word
