"""Who is on call at a moment, in order: the one answer that telling, the round sheet and the API share.

A line of the call list names a person or a rota. Somebody away is stood in for; somebody who is not for this room,
or not at this hour, is left out, but never for danger to people, and never so that nobody remains. Who is left out
makes room: those below move up, and take the waits of the places they move to.

What counts is what was written down by the moment asked about. A hand-over in the middle of a chain of texts
changes nothing for a notice that was made before it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.model import Instant
from service.localtime import local
from service.storage import people
from service.storage.database import Connection
from service.storage.rows import Record

NOT_THIS_ROOM: Final = "is not for this house"
NOT_NOW: Final = "is not for this hour"
NO_TEXTS: Final = "asked for no more texts, and has no mail and takes no calls"
LEFT: Final = "is with the farm no more"
TWICE: Final = "is on the list further up"


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One line of the call list at a moment."""

    after_ms: int
    """How long after the first, as the line says; who moves up takes the wait of the place moved to."""
    person: Record | None
    """``None`` when nobody can be named for the line."""
    why: str = ""
    """Why this person and not the one on the line."""
    left_out: str | None = None
    """Why nobody is told by this line; ``None`` when somebody is."""
    rota_id: str | None = None


async def call_list(
    connection: Connection, farm: Record, *, at_ms: Instant, room_id: str | None, danger: bool = False
) -> list[Record]:
    """People in the order in which they are told, each with ``after_ms``.

    Args:
        connection: to read with.
        farm: the farm's row.
        at_ms: when the notice was made.
        room_id: the room that it is about; ``None`` for the whole farm, which is everybody's.
        danger: danger to people: then nobody is left out for room or hour.
    """
    places = await places_at(connection, farm, at_ms=at_ms, room_id=room_id, danger=danger)
    return told_in_order(places)


def told_in_order(places: Sequence[Place]) -> list[Record]:
    """Those who are told. Where somebody is left out, the next ones take over the waits."""
    waits = [place.after_ms for place in places]
    told = [place.person for place in places if place.person is not None and place.left_out is None]
    return [{**person, "after_ms": wait} for person, wait in zip(told, waits, strict=False)]


async def places_at(
    connection: Connection, farm: Record, *, at_ms: Instant, room_id: str | None, danger: bool = False
) -> list[Place]:
    """Every line of the call list that holds at a moment, with who is left out and why."""
    farm_id = farm["farm_id"]
    both = ("night", "day") if is_night_at(farm, at_ms) else ("day", "night")
    # A farm that set only one of the lists meant it for always.
    lines = await people.lines(connection, farm_id, both[0]) or await people.lines(connection, farm_id, both[1])
    known = {person["person_id"]: person for person in await people.all_people(connection, farm_id)}
    places = [Place(after_ms=line["after_ms"], person=known[line["person_id"]]) for line in lines]
    minute = minute_of_day(farm, at_ms)
    return _nobody_forgotten([_judged(place, room_id, minute, danger=danger) for place in _once(places)])


def is_night_at(farm: Record, at_ms: Instant) -> bool:
    """Whether the farm's call list of the night holds at a moment: evening round to morning round."""
    return is_within(minute_of_day(farm, at_ms), farm["evening_round_minute"], farm["morning_round_minute"])


def minute_of_day(farm: Record, at_ms: Instant) -> int:
    """What the farm's clock shows, in minutes."""
    here = local(at_ms, farm["zone"])
    return here.hour * 60 + here.minute


def is_within(minute: int, from_minute: int, to_minute: int) -> bool:
    """Whether a minute of the day lies in hours that may go past midnight."""
    if from_minute > to_minute:
        return minute >= from_minute or minute < to_minute
    return from_minute <= minute < to_minute


def rooms_of(person: Mapping[str, object]) -> list[str] | None:
    """The rooms a person is told of; ``None`` for all."""
    written = person["room_ids"]
    return None if written is None else list(json.loads(str(written)))


def _once(places: Sequence[Place]) -> list[Place]:
    """A person who stands in for somebody may be on the list already: the first place counts."""
    seen: set[str] = set()
    kept: list[Place] = []
    for place in places:
        person_id = None if place.person is None else place.person["person_id"]
        if person_id in seen:
            kept.append(_without(place, TWICE))
            continue
        if person_id is not None:
            seen.add(person_id)
        kept.append(place)
    return kept


def _judged(place: Place, room_id: str | None, minute: int, *, danger: bool) -> Place:
    if place.person is None or place.left_out is not None:
        return place
    why = _why_not(place.person, room_id, None if place.why else minute, danger=danger)
    return place if why is None else _without(place, why)


def _why_not(person: Record, room_id: str | None, minute: int | None, *, danger: bool) -> str | None:
    """Why a person is not told; ``minute`` is ``None`` where a turn says that this is their hour."""
    if not person["active"]:
        return LEFT
    if danger:
        return None
    rooms = rooms_of(person)
    if rooms is not None and room_id is not None and room_id not in rooms:
        return NOT_THIS_ROOM
    from_minute, to_minute = person["hours_from_minute"], person["hours_to_minute"]
    has_hours = from_minute is not None and to_minute is not None
    if minute is not None and has_hours and not is_within(minute, from_minute, to_minute):
        return NOT_NOW
    return None if can_be_told(person) else NO_TEXTS


def can_be_told(person: Record) -> bool:
    """False for somebody who wants no texts and has no other way."""
    has_call = person["way"] == "voice" and person["phone"]
    return person["opted_out_ms"] is None or bool(person["email"] or has_call)


def _nobody_forgotten(places: list[Place]) -> list[Place]:
    """Where everybody would be left out, everybody who can be named and is still with the farm is told."""
    if any(place.person is not None and place.left_out is None for place in places):
        return places
    return [place if place.person is None or place.left_out in {LEFT, TWICE} else _told(place) for place in places]


def _without(place: Place, why: str) -> Place:
    return Place(after_ms=place.after_ms, person=place.person, why=place.why, left_out=why, rota_id=place.rota_id)


def _told(place: Place) -> Place:
    return Place(after_ms=place.after_ms, person=place.person, why=place.why, rota_id=place.rota_id)
