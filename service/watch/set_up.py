"""What is missing before a person can be relied on at night."""

from __future__ import annotations

from service.storage.rows import Record


def can_be_told(person: Record) -> bool:
    """Whether there is anything at all to tell this person by."""
    return bool(person["phone"] or person["email"])


def missing(person: Record) -> list[str]:
    """What still has to be done for a person, in words; nothing is asked of somebody who left."""
    if not person["active"]:
        return []
    if not person["phone"]:
        return ["no phone is known: nothing wakes this person at night"]
    found = []
    if person["opted_out_ms"] is not None:
        found.append("this number asked for no more texts: only its owner can take that back, at the carrier")
    if person["round_trip_ms"] is None:
        found.append("no answer has come from this number yet: send a test text and have it answered")
    if person["rang_ms"] is None:
        found.append("not tried at night: send a night test with the phone's sound off, and have it answered")
    return found
