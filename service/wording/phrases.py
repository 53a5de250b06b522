"""Every phrase that a person reads in a text or a drawing, by message. A second language is a second value.

Texts are one segment of the basic alphabet, so phrases here hold no letter outside it (a test says so): Spanish
keeps its n-tilde, e-acute and inverted marks, and goes without the accents of a, i, o and u.
Placeholders are filled by ``str.format``; word order belongs to the language, which is why whole sentences
stand here and not their pieces. All Spanish is to be confirmed by a native reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from rules.model import Quantity, Side
from service.wording.language import Language

Trend = Literal["falling", "rising", "steady"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrases:
    """All phrases of one language."""

    quantity: Mapping[Quantity, str]
    short_quantity: Mapping[Quantity, str]
    """For the list of what reads normal."""
    contact: Mapping[Quantity, tuple[str, str]]
    """What a contact says when it is off and when it is on."""
    beyond: Mapping[Side, str]
    beyond_no_longer: Mapping[Side, str]
    at_limit: str
    side: Mapping[Side, str]
    worst: Mapping[Side, str]
    trend: Mapping[Trend, str]
    first_check: Mapping[str, str]
    """By the part to look at; a check that is not listed is said as it was written."""
    stage: Mapping[str, str]
    """By the text name that a shipped profile gives a stage; any other is the farm's own, and stays."""
    under_a_minute: str
    days: str

    crop: str
    crop_day: str
    alarm: str
    deeper: str
    alarm_contact: str
    deeper_contact: str
    at_place: str
    normal: str
    normal_and_check: str
    check: str
    went: tuple[str, str]
    """Stands behind what is still wrong after somebody went; the usual form, and a short one."""
    high_co2: str
    """What stands in every text of so much CO2 that nobody should go in unprepared."""
    back: str
    back_past_limit: str
    back_limit_moved: str
    """The value never was past the limit that holds now: the stage changed meanwhile."""
    back_contact: str
    invented: str
    invented_short: str

    reply_each: str
    """How to answer. Where several things are open, an answer has to name the one it means."""
    reply_once: str
    reply_bare: str
    reply_link: str
    reply_farm: str

    strip_now: str
    strip_no_reading: str
    strip_outside: str
    strip_band: str
    strip_no_band: str
    strip_spread: str
    band_between: str
    band_up_to: str
    band_from: str
    chart_panel: str
    chart_empty: str
    chart_stretches: tuple[str, str]
    """For one stretch, for several."""
    chart_gap: str


ENGLISH: Final = Phrases(
    quantity={
        Quantity.TEMPERATURE: "temperature",
        Quantity.HUMIDITY: "humidity",
        Quantity.CO2: "CO2",
        Quantity.BATTERY: "battery",
        Quantity.SIGNAL: "signal",
        Quantity.LIGHT: "light",
        Quantity.BLOCK_CORE: "block core",
        Quantity.PRODUCT_CORE: "product core",
        Quantity.SOAK_WATER: "soak water",
        Quantity.SURFACE: "surface",
        Quantity.AIR_PRESSURE: "air pressure",
        Quantity.DOOR: "door",
        Quantity.MAINS: "mains",
        Quantity.GENERATOR: "generator",
        Quantity.AIRFLOW: "fan",
        Quantity.MISTING: "mister",
        Quantity.WATER_PRESSURE: "water pressure",
        Quantity.TANK_LEVEL: "tank",
    },
    short_quantity={Quantity.TEMPERATURE: "temp"},
    contact={
        Quantity.DOOR: ("shut", "open"),
        Quantity.MAINS: ("off", "on"),
        Quantity.GENERATOR: ("not running", "running"),
        Quantity.AIRFLOW: ("not moving air", "moving air"),
        Quantity.MISTING: ("not running", "running"),
        Quantity.WATER_PRESSURE: ("gone", "there"),
        Quantity.TANK_LEVEL: ("low", "filled"),
    },
    beyond={Side.LOW: "under", Side.HIGH: "over", Side.PEOPLE: "over"},
    beyond_no_longer={Side.LOW: "was under", Side.HIGH: "was over", Side.PEOPLE: "was over"},
    at_limit="at",
    side={Side.LOW: "low", Side.HIGH: "high", Side.PEOPLE: "over the people limit"},
    worst={Side.LOW: "Lowest", Side.HIGH: "Highest", Side.PEOPLE: "Highest"},
    trend={"falling": ", falling", "rising": ", rising", "steady": ", steady"},
    first_check={
        "humidifier": "check humidifier",
        "humidifier stuck on": "check if mist is stuck on",
        "heating or cooling": "check heating, cooling",
        "heater": "check heater",
        "door or damper": "check door, then damper",
        "fan or belt": "check fan, belt, damper",
        "cooler door or compressor": "check door, compressor",
    },
    stage={},
    under_a_minute="under 1 min",
    days="{days} days",
    crop="{room} {species}, {stage}",
    crop_day="{room} {species}, {stage} day {day}",
    alarm="{who}: {what} {value}{place}, {standing} limit {limit} for {duration}{trend}.",
    deeper="{who}, worse: {what} {value}{place}, {standing} limit {limit} for {duration}{trend}.",
    alarm_contact="{who}: {what} {value}{place} for {duration}, should be {limit}.",
    deeper_contact="{who}, worse: {what} {value}{place} for {duration}, should be {limit}.",
    at_place=" at {place}",
    normal="{quantities} normal.",
    normal_and_check="{quantities} normal: {check}.",
    check="{check}.",
    went=("{person} went at {time}, no better since.", "{person} went {time}."),
    high_co2="Air out first, do not go in alone.",
    back=(
        "{room}: {what} back in band, {value} at {time}. "
        "{worst_word} {worst}, {beyond} limit {limit} for {duration}."
    ),
    back_past_limit=(
        "{room}: {what} no longer {beyond} limit {limit}, {value} at {time}. "
        "{worst_word} {worst}, {beyond} limit for {duration}."
    ),
    back_limit_moved="{room}: {what} {value} at {time}. Its limit is {limit} now, and not passed.",
    back_contact="{room}: {what} {value} again at {time}. Was {worst} for {duration}, should be {limit}.",
    invented="Invented data.",
    invented_short="Invented.",
    reply_each="Reply {name} going or {name} cannot.",
    reply_once="Reply {name} going or cannot.",
    reply_bare="Reply going or cannot.",
    reply_link="Answer: {link}",
    reply_farm="farm",
    strip_now="{what} {value}",
    strip_no_reading="{what}: no reading",
    strip_outside="{what} {value}, {side}",
    strip_band="band {band}",
    strip_no_band="no band",
    strip_spread="last night {lowest} to {highest}",
    band_between="{low} to {high}",
    band_up_to="up to {high}",
    band_from="{low} and over",
    chart_panel="{title}: lowest {lowest}, highest {highest}",
    chart_empty="{title}: no readings",
    chart_stretches=("1 stretch outside the band", "{count} stretches outside the band"),
    chart_gap="no readings",
)

SPANISH: Final = Phrases(
    quantity={
        Quantity.TEMPERATURE: "temperatura",
        Quantity.HUMIDITY: "humedad",
        Quantity.CO2: "CO2",
        Quantity.BATTERY: "bateria",
        Quantity.SIGNAL: "señal",
        Quantity.LIGHT: "luz",
        Quantity.BLOCK_CORE: "centro bloque",
        Quantity.PRODUCT_CORE: "centro producto",
        Quantity.SOAK_WATER: "agua de remojo",
        Quantity.SURFACE: "superficie",
        Quantity.AIR_PRESSURE: "presion aire",
        Quantity.DOOR: "puerta",
        Quantity.MAINS: "corriente",
        Quantity.GENERATOR: "generador",
        Quantity.AIRFLOW: "ventilador",
        Quantity.MISTING: "nebulizador",
        Quantity.WATER_PRESSURE: "presion de agua",
        Quantity.TANK_LEVEL: "tanque",
    },
    short_quantity={Quantity.TEMPERATURE: "temp"},
    contact={
        Quantity.DOOR: ("cerrada", "abierta"),
        Quantity.MAINS: ("cortada", "conectada"),
        Quantity.GENERATOR: ("parado", "en marcha"),
        Quantity.AIRFLOW: ("sin aire", "con aire"),
        Quantity.MISTING: ("parado", "en marcha"),
        Quantity.WATER_PRESSURE: ("perdida", "presente"),
        Quantity.TANK_LEVEL: ("bajo", "lleno"),
    },
    beyond={Side.LOW: "bajo", Side.HIGH: "sobre", Side.PEOPLE: "sobre"},
    beyond_no_longer={Side.LOW: "estuvo bajo", Side.HIGH: "estuvo sobre", Side.PEOPLE: "estuvo sobre"},
    at_limit="en el",
    side={Side.LOW: "baja", Side.HIGH: "alta", Side.PEOPLE: "sobre el limite para personas"},
    worst={Side.LOW: "Minimo", Side.HIGH: "Maximo", Side.PEOPLE: "Maximo"},
    trend={"falling": ", bajando", "rising": ", subiendo", "steady": ", estable"},
    first_check={
        "humidifier": "revise humidificador",
        "humidifier stuck on": "revise si la niebla no se apaga",
        "heating or cooling": "revise calefaccion y frio",
        "heater": "revise calefaccion",
        "door or damper": "revise puerta, luego compuerta",
        "fan or belt": "revise ventilador, correa",
        "cooler door or compressor": "revise puerta, compresor",
    },
    stage={
        "antlers": "cuernos",
        "browning": "pardeo",
        "cap start": "sombrerito",
        "caps": "sombreros",
        "case run": "cobertura",
        "cold hold": "en frio",
        "fronds": "frondas",
        "fruiting": "desarrollo",
        "incubation": "incubacion",
        "pins": "pines",
        "rest": "descanso",
        "ripening": "maduracion",
        "soak": "remojo",
        "spawn run": "incubacion",
        "storage": "almacen",
    },
    under_a_minute="menos de 1 min",
    days="{days} dias",
    crop="{room} {species}, {stage}",
    crop_day="{room} {species}, {stage} dia {day}",
    alarm="{who}: {what} {value}{place}, {standing} limite {limit} por {duration}{trend}.",
    deeper="{who}, peor: {what} {value}{place}, {standing} limite {limit} por {duration}{trend}.",
    alarm_contact="{who}: {what} {value}{place} por {duration}, debe estar {limit}.",
    deeper_contact="{who}, peor: {what} {value}{place} por {duration}, debe estar {limit}.",
    at_place=" en {place}",
    normal="{quantities} normal.",
    normal_and_check="{quantities} normal: {check}.",
    check="{check}.",
    went=("{person} fue a las {time} y no mejora.", "{person} fue {time}."),
    high_co2="Ventile primero, no entre solo.",
    back=(
        "{room}: {what} ya en su rango, {value} a las {time}. "
        "{worst_word} {worst}, {beyond} limite {limit} por {duration}."
    ),
    back_past_limit=(
        "{room}: {what} ya no {beyond} limite {limit}, {value} a las {time}. "
        "{worst_word} {worst}, {beyond} limite por {duration}."
    ),
    back_limit_moved="{room}: {what} {value} a las {time}. Su limite ahora es {limit} y no se ha pasado.",
    back_contact=(
        "{room}: {what} otra vez {value} a las {time}. Estuvo {worst} por {duration}, debe estar {limit}."
    ),
    invented="Datos inventados.",
    invented_short="Inventado.",
    reply_each="Responda {name} voy o {name} no puedo.",
    reply_once="Responda {name} voy o no puedo.",
    reply_bare="Responda voy o no puedo.",
    reply_link="Responda: {link}",
    reply_farm="granja",
    strip_now="{what} {value}",
    strip_no_reading="{what}: sin lectura",
    strip_outside="{what} {value}, {side}",
    strip_band="rango {band}",
    strip_no_band="sin rango",
    strip_spread="anoche {lowest} a {highest}",
    band_between="{low} a {high}",
    band_up_to="hasta {high}",
    band_from="{low} y mas",
    chart_panel="{title}: minimo {lowest}, maximo {highest}",
    chart_empty="{title}: sin lecturas",
    chart_stretches=("1 tramo fuera del rango", "{count} tramos fuera del rango"),
    chart_gap="sin lecturas",
)

PHRASES_IN: Final[Mapping[Language, Phrases]] = {"en": ENGLISH, "es": SPANISH}
