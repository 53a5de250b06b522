"""Every phrase that a person reads in a text or a drawing, by message. A second language is a second value.

Texts are one segment of the basic alphabet, so phrases here hold no letter outside it (a test says so).
Placeholders are filled by ``str.format``; word order belongs to the language, which is why whole sentences
stand here and not their pieces.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from rules.model import Quantity, Side

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
    high_co2: str
    """What stands in every text of so much CO2 that nobody should go in unprepared."""
    back: str
    back_past_limit: str
    back_limit_moved: str
    """The value never was past the limit that holds now: the stage changed meanwhile."""
    back_contact: str
    trial: str
    invented: str

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
    trial="Test text from {farm}, {time}. A text about a house will reach you like this one. Nothing to do.",
    invented="Invented data.",
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
