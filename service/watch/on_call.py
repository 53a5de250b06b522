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
from service.storage import people, rota
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.turns import Stint, away, holder, stands_in, stints

NOT_THIS_ROOM: Final = "is not for this house"
NOT_NOW: Final = "is not for this hour"
NO_TEXTS: Final = "asked for no more texts, and has no mail and takes no calls"
LEFT: Final = "is with the farm no more"
TWICE: Final = "is on the list further up"
NOBODYS_TURN: Final = "nobody has the turn"
AWAY: Final = "is away, and nobody stands in"

NOBODY_ELSE: Final = "nobody on the list has the turn"

_WHY: Final = {"turn": "has the turn", "swap": "took the turn"}


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
    return [{**person, "after_ms": wait} for person, wait in zip(told, sorted(waits), strict=False)]


async def places_at(
    connection: Connection, farm: Record, *, at_ms: Instant, room_id: str | None, danger: bool = False
) -> list[Place]:
    """Every line of the call list that holds at a moment, with who is left out and why."""
    farm_id = farm["farm_id"]
    both = ("night", "day") if is_night_at(farm, at_ms) else ("day", "night")
    # A farm that set only one of the lists meant it for always.
    lines = await people.lines(connection, farm_id, both[0]) or await people.lines(connection, farm_id, both[1])
    books = await rota_books(connection, farm, from_ms=at_ms, until_ms=at_ms + 1)
    minute = minute_of_day(farm, at_ms)
    places = _once([_place(line, books, at_ms) for line in lines])
    judged = _nobody_forgotten([_judged(place, room_id, minute, danger=danger) for place in places])
    return judged if _somebody(judged) else [*judged, *_anybody(judged, books)]


@dataclass(frozen=True, slots=True, kw_only=True)
class RotaBooks:
    """All that is written down of rotas for a time."""

    known: Mapping[str, Record]
    """Everybody, by id."""
    turns: Mapping[str, Sequence[Stint]]
    """By rota."""
    swaps: Sequence[Record]
    absences: Sequence[Record]

    def of_rota(self, rota_id: str, at_ms: Instant) -> tuple[str | None, str]:
        """Who has a rota's turn at a moment, whoever stands in, and why it is this person."""
        swaps = [swap for swap in self.swaps if swap["rota_id"] == rota_id]
        has = holder(self.turns.get(rota_id, ()), swaps, at_ms)
        if has is None:
            return None, NOBODYS_TURN
        return self.there(has.person_id, at_ms, _WHY[has.why])

    def there(self, person_id: str, at_ms: Instant, why: str) -> tuple[str | None, str]:
        """The person, or who stands in; ``None`` when that is nobody, or somebody who left."""
        found = stands_in(person_id, away(self.absences, at_ms))
        name = self.known[person_id]["name"]
        if found is None:
            return None, f"{name} {AWAY}"
        if not self.known[found]["active"]:
            return None, f"{self.known[found]['name']} {LEFT}"
        return found, why if found == person_id else f"stands in for {name}"


async def rota_books(connection: Connection, farm: Record, *, from_ms: Instant, until_ms: Instant) -> RotaBooks:
    """Read what is written down of rotas for a time."""
    farm_id, zone = farm["farm_id"], farm["zone"]
    by_rota: dict[str, list[Record]] = {}
    for turn in await rota.turns_of(connection, farm_id):
        by_rota.setdefault(turn["rota_id"], []).append(turn)
    return RotaBooks(
        known={person["person_id"]: person for person in await people.all_people(connection, farm_id)},
        turns={key: stints(of, zone, from_ms=from_ms, until_ms=until_ms) for key, of in by_rota.items()},
        swaps=await rota.swaps_since(connection, farm_id, from_ms),
        absences=await rota.absences_since(connection, farm_id, from_ms),
    )


def _place(line: Record, books: RotaBooks, at_ms: Instant) -> Place:
    after_ms, rota_id = line["after_ms"], line["rota_id"]
    if rota_id is not None:
        person_id, why = books.of_rota(rota_id, at_ms)
    elif not books.known[line["person_id"]]["active"]:
        return Place(after_ms=after_ms, person=books.known[line["person_id"]], left_out=LEFT)
    else:
        person_id, why = books.there(line["person_id"], at_ms, "")
    if person_id is None:
        listed = None if rota_id is not None else books.known[line["person_id"]]
        return Place(after_ms=after_ms, person=listed, left_out=why, rota_id=rota_id)
    return Place(after_ms=after_ms, person=books.known[person_id], why=why, rota_id=rota_id)


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
        person_id = None if place.person is None or place.left_out else place.person["person_id"]
        kept.append(_without(place, TWICE) if person_id in seen else place)
        if person_id is not None:
            seen.add(person_id)
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
    return None if _hears_otherwise(person) else NO_TEXTS


def _hears_otherwise(person: Record) -> bool:
    """False for somebody who wants no texts and has no other way."""
    has_call = person["way"] == "voice" and person["phone"]
    return person["opted_out_ms"] is None or bool(person["email"] or has_call)


def _nobody_forgotten(places: list[Place]) -> list[Place]:
    """Where everybody would be left out, everybody who can be named and is still with the farm is told."""
    if _somebody(places):
        return places
    return [place if place.person is None or place.left_out in {LEFT, TWICE} else _told(place) for place in places]


def _somebody(places: Sequence[Place]) -> bool:
    return any(place.person is not None and place.left_out is None for place in places)


def _anybody(places: Sequence[Place], books: RotaBooks) -> list[Place]:
    """A list that names nobody at this moment: managers instead, and without any, everybody."""
    if not places:
        return []
    active = [person for person in books.known.values() if person["active"]]
    instead = [person for person in active if person["manager"]] or active
    return [Place(after_ms=0, person=person, why=NOBODY_ELSE) for person in instead]


def _without(place: Place, why: str) -> Place:
    return Place(after_ms=place.after_ms, person=place.person, why=place.why, left_out=why, rota_id=place.rota_id)


def _told(place: Place) -> Place:
    return Place(after_ms=place.after_ms, person=place.person, why=place.why, rota_id=place.rota_id)
