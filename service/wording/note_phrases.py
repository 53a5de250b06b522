"""Every phrase of the sheet's notes and of the Friday page. A second language is a second value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class NotePhrases:
    """All phrases of one language."""

    what: Mapping[str, str]
    """What a happening was: by the word that is kept, as a button and in a sentence."""
    harm: Mapping[str, str]
    happened: str
    happened_going_on: str
    people: str
    silence: str
    site: str
    ask_what: str
    ask_harm: str
    was: str
    was_harm: str
    harm_only: str
    recorded: str
    hint: Mapping[str, str]
    say_so: str
    """For a mail: where it can be said."""

    probe_at: str
    check_due: str
    checked: str
    never_checked: str
    battery_fell: str
    battery_low: str
    trial: Mapping[str, str]
    trial_other: str
    silent: Mapping[str, str]
    silent_other: str
    silent_until: str
    silent_still: str
    heading_what: str
    heading_due: str


ENGLISH_NOTES: Final = NotePhrases(
    what={
        "gear": "Gear",
        "door": "Door",
        "work": "Somebody working",
        "probe": "The probe",
        "nothing found": "Nothing found",
    },
    harm={"none": "No harm", "some": "Some harm", "much": "Much harm"},
    happened="{what}, {start} to {end}",
    happened_going_on="{what}, since {start}",
    people="CO2 over the people limit",
    silence="{name} not heard",
    site="whole farm: {name}",
    ask_what="What was it?",
    ask_harm="Harm seen on the crop?",
    was="It was: {what}.",
    was_harm="It was: {what}. {harm}.",
    harm_only="{harm}.",
    recorded="Said by {who}, {time}.",
    hint={
        "probe": "{name} answered at {time}: probe.",
        "fixed": "{name} answered at {time}: fixed.",
    },
    say_so="Say what it was: {address}",
    probe_at="{room}, {place}",
    check_due="{where} ({probe}): check it against a reference, due since {day}. {checked}",
    checked="Last checked {day} by {who}.",
    never_checked="Never checked.",
    battery_fell="{where} ({probe}): change the battery this week. {volts}, was {before} in the weeks before.",
    battery_low="{where} ({probe}): change the battery this week. {volts}.",
    trial={
        "weekly": "{name} has not answered the weekly test text of {day}.",
        "night ring": "{name} has not answered the night-ring test of {day}: would the phone have woken anybody?",
        "by hand": "{name} has not answered the test text of {day}.",
    },
    trial_other="{name} has not answered the test of {day}.",
    silent={
        "probe": "Probe {name}: not heard {when}.",
        "gateway": "Gateway {name}, and every probe behind it: not heard {when}.",
        "site": "Nothing was heard of the whole farm {when}: power or network, not climate.",
        "room": "{name}: its last probe of something with a text limit was not heard {when}.",
        "broker": "We heard nothing of the broker {when}: no probe reached us, whatever it had to say.",
        "houseband": "Houseband itself did not run {when}: nobody was watching.",
    },
    silent_other="{name}: not heard {when}.",
    silent_until="from {start} to {end}",
    silent_still="since {start}, and still is not",
    heading_what="What was it?",
    heading_due="To do this week",
)
