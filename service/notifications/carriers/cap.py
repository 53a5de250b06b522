"""Our notices in the words of the Common Alerting Protocol 1.2 (OASIS, ITU-T X.1303), for machines that speak it.

All that our words mean in CAP's stands in :data:`MEANING`. Two things are never said: that people may go in
(``AllClear``), and, by ``Cancel``, that a danger to people is over; its end is an ``Update``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final, Literal
from xml.etree import ElementTree as ET

from rules.model import SECOND_MS, Instant
from service.notifications.carriers.message import Message

NAMESPACE: Final = "urn:oasis:names:tc:emergency:cap:1.2"
PEOPLE: Final = "people"
"""The ``side`` of facts about limits for people."""
_NOT_IN_A_NAME: Final = re.compile(r"[\s,<&]+")
_NOT_IN_XML: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_HEADLINE: Final = 160

Part = Literal["Alert", "Update", "Cancel"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """One kind of notice in CAP's words."""

    part: Part
    event: str
    category: tuple[str, ...]
    response: str
    urgency: str
    severity: str
    certainty: str


_CROP: Final = ("Env",)
_PEOPLE: Final = ("Safety", "Health")
_SITE: Final = ("Infra",)


def _meaning(
    part: Part, event: str, category: tuple[str, ...], response: str, *, how: tuple[str, str, str]
) -> Meaning:
    urgency, severity, certainty = how
    return Meaning(
        part=part,
        event=event,
        category=category,
        response=response,
        urgency=urgency,
        severity=severity,
        certainty=certainty,
    )


_SOON: Final = ("Expected", "Moderate", "Observed")
_NOW: Final = ("Immediate", "Severe", "Observed")
_MAYBE_NOW: Final = ("Immediate", "Severe", "Possible")
_UNKNOWN: Final = ("Expected", "Unknown", "Unknown")
_OVER: Final = ("Past", "Minor", "Observed")

MEANING: Final[Mapping[str, Meaning]] = {
    "trouble": _meaning("Alert", "growing room past its limit", _CROP, "Assess", how=_SOON),
    "deeper": _meaning("Update", "growing room far past its limit", _CROP, "Assess", how=_NOW),
    "no improvement": _meaning("Update", "no better since somebody went", _CROP, "Assess", how=_NOW),
    "taken": _meaning("Update", "somebody is going", _CROP, "Monitor", how=_SOON),
    "held": _meaning("Update", "limit held back", _CROP, "None", how=_OVER),
    "back": _meaning("Cancel", "growing room back in band", _CROP, "None", how=_OVER),
    "danger": _meaning("Alert", "CO2 over the people limit", _PEOPLE, "Avoid", how=_NOW),
    "danger over": _meaning("Update", "CO2 under the people limit", _PEOPLE, "Monitor", how=_SOON),
    "look after": _meaning("Alert", "person has not come out", _PEOPLE, "Execute", how=_MAYBE_NOW),
    "came out": _meaning("Update", "person is out again", _PEOPLE, "None", how=_OVER),
    "silence": _meaning("Alert", "no readings", _SITE, "Assess", how=_UNKNOWN),
    "heard": _meaning("Cancel", "readings again", _SITE, "None", how=_OVER),
    "site": _meaning("Alert", "several rooms at once", _SITE, "Assess", how=_NOW),
    "site back": _meaning("Cancel", "rooms back in band", _SITE, "None", how=_OVER),
    "trial": _meaning("Alert", "trial", _SITE, "None", how=("Unknown", "Unknown", "Unknown")),
}
"""By kind of notice; ``danger over`` is the kind ``back`` of limits for people."""
_ANYTHING_ELSE: Final = _meaning("Alert", "notice", ("Other",), "Assess", how=_UNKNOWN)


def meaning_of(message: Message) -> Meaning:
    """What the message is in CAP's words."""
    about_people = (message.facts or {}).get("side") == PEOPLE
    if message.kind == "back" and about_people:
        return MEANING["danger over"]
    return MEANING.get(message.kind, _ANYTHING_ELSE)


def alert(message: Message, *, sender: str) -> str:
    """The message as a CAP document.

    ``facts["earlier"]``, pairs of key and moment of what was sent before about the same, becomes its references.
    Without any, an update or an end has nothing to refer to, and goes out as news of its own.
    """
    facts, meaning = message.facts or {}, meaning_of(message)
    earlier = () if meaning.part == "Alert" else tuple(facts.get("earlier", ()))
    root = ET.Element("alert", {"xmlns": NAMESPACE})
    sender = name(sender)
    _add(root, "identifier", name(message.key))
    _add(root, "sender", sender)
    _add(root, "sent", moment(_sent_ms(message)))
    _add(root, "status", _status(message))
    _add(root, "msgType", meaning.part if earlier else "Alert")
    _add(root, "scope", "Restricted")
    _add(root, "restriction", "For the farm's own people and machines")
    if facts.get("invented"):
        _add(root, "note", "Invented data")
    if earlier:
        _add(root, "references", " ".join(f"{sender},{name(str(key))},{moment(int(at))}" for key, at in earlier))
    _info(ET.SubElement(root, "info"), message, meaning)
    return ET.tostring(root, encoding="unicode", xml_declaration=False)


def moment(at_ms: Instant) -> str:
    """CAP 1.2 section 3.3.2: no letter for UTC but -00:00."""
    return datetime.fromtimestamp(at_ms // SECOND_MS, UTC).strftime("%Y-%m-%dT%H:%M:%S-00:00")


def name(said: str) -> str:
    """An identifier or sender: no spaces, commas or characters that XML restricts (CAP 1.2 section 3.2.1)."""
    return _NOT_IN_A_NAME.sub("-", _NOT_IN_XML.sub("", said)) or "-"


def _info(info: ET.Element, message: Message, meaning: Meaning) -> None:
    facts = message.facts or {}
    _add(info, "language", message.language)
    _all(info, "category", meaning.category)
    _add(info, "event", meaning.event)
    _add(info, "responseType", meaning.response)
    _add(info, "urgency", meaning.urgency)
    _add(info, "severity", meaning.severity)
    _add(info, "certainty", meaning.certainty)
    began = facts.get("began_ms", facts.get("since_ms"))
    if isinstance(began, int):
        _add(info, "onset", moment(began))
    _add(info, "senderName", "Houseband")
    _add(info, "headline", " ".join((message.subject or message.text).split())[:_HEADLINE])
    _add(info, "description", message.text)
    for value in ("kind", "quantity", "value", "limit"):
        said = message.kind if value == "kind" else facts.get(value)
        if isinstance(said, str | int | float) and said != "":
            _parameter(info, value, said)
    for place in _places(facts):
        _add(ET.SubElement(info, "area"), "areaDesc", place)


def _status(message: Message) -> str:
    if message.kind == "trial":
        return "Test"
    return "Exercise" if (message.facts or {}).get("invented") else "Actual"


def _sent_ms(message: Message) -> Instant:
    """The same for every attempt, and what later messages refer to."""
    at_ms = (message.facts or {}).get("at_ms")
    return at_ms if isinstance(at_ms, int) else message.at_ms


def _places(facts: Mapping[str, Any]) -> tuple[str, ...]:
    room, several = facts.get("room"), facts.get("rooms")
    if isinstance(room, str) and room:
        return (room,)
    return tuple(str(one) for one in several or ()) or ("the farm",)


def _parameter(info: ET.Element, what: str, said: object) -> None:
    parameter = ET.SubElement(info, "parameter")
    _add(parameter, "valueName", what)
    _add(parameter, "value", str(said))


def _all(parent: ET.Element, tag: str, values: Iterable[str]) -> None:
    for value in values:
        _add(parent, tag, value)


def _add(parent: ET.Element, tag: str, said: str) -> None:
    ET.SubElement(parent, tag).text = _NOT_IN_XML.sub("", said)
