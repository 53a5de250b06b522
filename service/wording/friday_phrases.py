"""Every phrase of the Friday page and its mail. A second language is a second value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class FridayPhrases:
    """All phrases of one language."""

    title: str
    title_running: str
    span: str
    nobody: str
    so_many: str
    by_night: tuple[str, str, str]
    """For none, one, several."""
    by_day: tuple[str, str]
    of_them_true: str
    all_not_said: str
    not_said: str
    longest: str
    longest_under: str
    not_answered: tuple[str, str]
    nobody_answered: str
    most_for_nothing: str
    none_for_nothing: str
    nobody_said: str
    texts: tuple[str, str]
    fix: Mapping[str, str]
    """What to look at, by what it turned out to be."""
    cause: Mapping[str, str]
    cause_not_said: str
    true: str
    for_nothing: str
    unsaid: str
    median: str
    answered: str
    unanswered: str
    told: str
    place: str

    heading_groups: str
    heading_nuisances: str
    heading_answers: str
    heading_told: str
    heading_trials: str
    heading_list: str
    column: Mapping[str, str]
    no_nuisances: str
    no_answers: str
    no_trials: str
    subject: str
    subject_invented: str
    pages: str
    counted: str


ENGLISH_FRIDAY: Final = FridayPhrases(
    title="Friday page, {day}",
    title_running="The week so far, {day}",
    span="{start} to {end}",
    nobody="This week nobody was texted.",
    so_many="This week {counts}{true}.",
    by_night=("no text at night", "1 text at night", "{count} texts at night"),
    by_day=("1 by day", "{count} by day"),
    of_them_true=", {count} of them true",
    all_not_said="; nobody has said yet what it was",
    not_said=", {count} not said yet",
    longest="Longest to an answer: {duration} ({where}).",
    longest_under="Every answer came within a minute.",
    not_answered=("1 was not answered ({where}).", "{count} were not answered ({where} and others)."),
    nobody_answered="Nobody answered any of them.",
    most_for_nothing="Most for nothing: {what}, {texts}, {cause}.",
    none_for_nothing="None of those that were named was for nothing.",
    nobody_said="Which were for nothing cannot be said until somebody says what they were.",
    texts=("1 text", "{count} texts"),
    fix={
        "door": "Look at the wait of this limit: it should outlast a door.",
        "work": "Say working before going in; look at the usual work hours.",
        "probe": "Check or move this probe.",
        "nothing found": "Look at the limit: it may be too close.",
    },
    cause={
        "gear": "gear",
        "door": "door",
        "work": "somebody working",
        "probe": "probe",
        "nothing found": "nothing found",
    },
    cause_not_said="not said yet",
    true="true",
    for_nothing="for nothing",
    unsaid="not said yet",
    median="Half of the answers came within {duration}.",
    answered="{where}, {what}: {duration}, {name}",
    unanswered="{where}, {what}: nobody answered",
    told="{name}: {texts}",
    place="{room}, {day}",
    heading_groups="Texts by {room} and cause",
    heading_nuisances="Most for nothing",
    heading_answers="Minutes to an answer",
    heading_told="Who was told how often",
    heading_trials="Tests that were not answered",
    heading_list="Every text",
    column={
        "where": "Where and cause",
        "texts": "Texts",
        "true": "True",
        "for nothing": "For nothing",
        "not said": "Not said",
        "all": "All",
    },
    no_nuisances="Nothing was named that was for nothing.",
    no_answers="Nobody was asked.",
    no_trials="All were answered, or none was sent.",
    subject="Friday page {day}: {news}",
    subject_invented="Invented data: {subject}",
    pages="All of it: {address}",
    counted="A text counts once, however many people it went to. True: gear failed, or the crop shows harm.",
)
