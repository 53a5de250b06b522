"""Every phrase of the round sheet, a night and the morning mail. A second language is a second value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPhrases:
    """All phrases of one language."""

    dip_over: str
    dip_going_on: str
    dip_times: str
    dip_worst: str
    dip_band: Mapping[str, str]
    """By side: where the band begins or ends."""
    dip_past: str
    dip_not_past: str
    dip_late: str
    dip_before: str
    dip_at_least: str
    first_check: str
    normal: str
    normal_and: str

    line_dip: str
    line_dip_going_on: str
    line_out_now: str
    line_unheard: str
    line_told_only: str

    brief_once: str
    brief: str

    still: str
    still_unheard: str
    now: str
    well_again: str
    cannot_say: str

    crop: str
    no_crop: str
    outside_air: str
    night: str
    night_and_day: str
    tonight: str
    spread: Mapping[str, str]
    """For the band strip: over a whole night, or over tonight so far."""

    text_to: str
    text_unwritten: str
    text_unwritten_back: str
    text_unwritten_other: str
    text_state: Mapping[str, str]
    answer: Mapping[str, str]
    """By the word that was said; a word that is not listed is shown as it was said."""
    answer_other: str
    nobody_answered: str
    nobody_told: str
    came_back: str
    held_back_now: str
    nothing_open: str
    not_yet_open: str

    held_back_first_days: str
    held_back_figures: str
    held_back: Mapping[str, str]
    """By why somebody, or the beginning of a stage, held it back."""
    working: str
    leave_one: str
    leave_all: str
    silent_since: str
    never_heard: str
    rejected: tuple[str, str]
    caution_co2: tuple[str, ...]
    caution_cooler: str
    chart_lines: str
    air: str
    dew_point: str

    mail_subject: str
    mail_subject_invented: str
    mail_quiet_night: str
    mail_room: str
    mail_rest_quiet: tuple[str, str]
    mail_now: str
    mail_on_call: str
    mail_then: str
    mail_texts: str
    mail_no_texts: str
    mail_probes: str
    mail_waiting: str
    mail_pages: str
    mail_quiet: str


ENGLISH_SHEET: Final = SheetPhrases(
    dip_over="{start} to {end}: {what} {side} for {duration}{times}.",
    dip_going_on="{start}, and still {side} at {last}: {what} {side} for {duration} so far{times}.",
    dip_times=", in {count} spells",
    dip_worst="{worst_word} {worst} at {time}{place}",
    dip_band={"low": "the band begins at {edge}.", "high": "the band ends at {edge}."},
    dip_past="{beyond} the text limit of {limit} for {duration}, from {time}.",
    dip_not_past="The text limit of {limit} was not passed.",
    dip_late="Learned late: these readings reached us at {time}.",
    dip_before="before {time}",
    dip_at_least="at least {duration}",
    first_check="First check: {check}.",
    normal="{quantities} read normal.",
    normal_and="{others} and {last}",
    line_dip="{what} {beyond} {edge} for {duration} from {start}, {worst_word} {worst}{place}.",
    line_dip_going_on="{what} {beyond} {edge} since {start}, {worst_word} {worst}{place}.",
    line_out_now="{what} is {value}, {beyond} {edge}.",
    line_unheard="Nothing is heard of {quantities} now.",
    line_told_only="A text limit was passed for a short time only.",
    brief_once="{what} also touched the edge of its band once, {duration} in all.",
    brief="{what} also touched the edge of its band {count} times, {duration} in all.",
    still="Still {side}.",
    still_unheard="Was {side} when last heard.",
    now="{side} now.",
    well_again="Well again.",
    cannot_say="Cannot say.",
    crop="{label}, {stage} day {day}",
    no_crop="nothing placed here",
    outside_air="outside air",
    night="Night of {evening} to {morning}, {start} to {end}",
    night_and_day="Night of {evening} to {morning} and the day so far, {start} to {end}",
    tonight="Tonight so far, {evening}, {start} to {end}",
    spread={"night": "last night {lowest} to {highest}", "tonight": "tonight {lowest} to {highest}"},
    text_to="{time} to {names}, {state}",
    text_unwritten="About {what}, {side}.",
    text_unwritten_back="About {what} being back.",
    text_unwritten_other="About this: {what}.",
    text_state={
        "sent": "sent",
        "waiting": "not sent yet",
        "gave up": "could not be sent",
        "missed": "too late to be useful, not sent",
        "cancelled": "called off",
        "unsure": "called off, may have arrived",
    },
    answer={
        "going": "{name} is going, said at {time}.",
        "cannot": "{name} cannot, said at {time}.",
        "out": "{name} is out again, said at {time}.",
        "working": "{name} works there, said at {time}.",
        "here": "{name} is there, said at {time}.",
        "probe": "{name} says at {time} that it is the probe.",
        "fixed": "{name} says at {time} that it is fixed.",
    },
    answer_other="{name} said {word} at {time}.",
    nobody_answered="Nobody has answered yet.",
    nobody_told="Nobody was texted about this.",
    came_back="It came back before anybody answered.",
    held_back_now="Held back for now. If it is still out when that ends, people are told.",
    nothing_open="Nothing is open here: nobody needs to go.",
    not_yet_open="Nothing to answer yet: a text goes out once a text limit is passed for its whole wait.",
    held_back_first_days="{room}: {what} {side}, would have texted at {time}. In its first days nobody is woken.",
    held_back_figures="{room}: {what} {side}, would have texted at {time}. "
    "Nobody has confirmed the figures of this stage yet.",
    held_back={
        "working": "{room}: {what} {side} at {time}, not texted: {who} was working until {until}.",
        "left until": "{room}: {what} {side} at {time}, not texted: left until {until} by {who}.",
        "stage begins": "{room}: {what} {side} at {time}, not texted: {who} began a stage and had until {until} "
        "to get there.",
    },
    working="working until {time} ({who})",
    leave_one="{what} {side}: leave until {time} ({who}): {why}",
    leave_all="every crop limit: leave until {time} ({who}): {why}",
    silent_since="last heard {time}",
    never_heard="never heard",
    rejected=("1 message could not be used.", "{count} messages could not be used."),
    caution_co2=(
        "CO2 is or was high here. Do not go in alone.",
        "Do not trust the number on this page: it is a room average, not a person's exposure.",
        "Air the {room} out from outside, then measure with a meter at the door before anyone goes in.",
        "CO2 probes do not see carbon monoxide: where fuel is burned, have a separate alarm.",
        "Local codes come first.",
    ),
    caution_cooler="Do not work in the cooler alone, and check first that the door opens from inside.",
    chart_lines="{what}: bold line {first}, thin line {others}.",
    air="Drying power {power} kPa{place} ({low} to {high} with the probe's error).",
    dew_point="Dew point {value}.",
    mail_subject="Round sheet {day}: {news}",
    mail_subject_invented="Invented data: {subject}",
    mail_quiet_night="a quiet night",
    mail_room="{room} {lead}",
    mail_rest_quiet=("1 quiet", "{count} quiet"),
    mail_now="Now: {values}",
    mail_on_call="On call: {names}",
    mail_then=", then ",
    mail_texts="Texts",
    mail_no_texts="Nobody was texted.",
    mail_probes="Probes",
    mail_waiting="Heard, and not yet put in a {room}: {probes}.",
    mail_pages="All of it: {address}",
    mail_quiet="Quiet",
)
