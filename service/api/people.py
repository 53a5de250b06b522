"""People: how they are told, of which rooms, in which hours, and what is missing before they can be relied on."""

from __future__ import annotations

import json
import re
from typing import Annotated, Any, Final, Literal, TypeAlias

from fastapi import APIRouter
from pydantic import AfterValidator, Field, model_validator

from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, Name, PersonId, RoomId, UnitsName, Who
from service.api.moments import Shown
from service.api.phone import in_use, phone_number, region_known
from service.api.problems import declared
from service.errors import NotAllowed, NotUnderstood
from service.storage import people, rooms, views
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.on_call import rooms_of
from service.watch.set_up import can_be_told, missing
from service.wording.language import Language

router = APIRouter(tags=["people"])

MOST_ROOMS: Final = 200
_EMAIL: Final = re.compile(r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~.-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")
"""Addresses as people have them; the quoted and bracketed ones of RFC 5322 are left out on purpose."""
_CLOCK: Final = re.compile(r"([01]\d|2[0-3]):([0-5]\d)", re.ASCII)

OwnWay: TypeAlias = Literal["text", "voice", "mail"]


def _email(text: str) -> str:
    if _EMAIL.fullmatch(text) is None or ".." in text:
        raise ValueError("not an e-mail address")
    return text


def _clock(text: str) -> str:
    if _CLOCK.fullmatch(text) is None:
        raise ValueError("not a time of day: write it like 06:00")
    return text


def _region(text: str) -> str:
    if not region_known(text):
        raise ValueError("not a country of ISO 3166, such as US")
    return text


TimeOfDay: TypeAlias = Annotated[str, AfterValidator(_clock)]


class PersonSaid(Asked):
    """All that can be said of a person."""

    name: Name
    phone: Annotated[str, Field(max_length=40)] | None = Field(
        description="With + and country, or as dialled in the region; kept as E.164."
    )
    region: Annotated[str, AfterValidator(_region)] | None = Field(
        default=None, description="Country (ISO 3166, two letters) of a number that is written without +."
    )
    email: Annotated[str, Field(max_length=254), AfterValidator(_email)] | None
    units: UnitsName
    language: Language
    active: bool = Field(description="Somebody who left is told nothing.")
    manager: bool = Field(default=False, description="Hears of it when somebody asks for no more texts.")
    way: OwnWay = Field(default="text", description="How this person is told first.")
    rooms: Annotated[list[RoomId], Field(min_length=1, max_length=MOST_ROOMS)] | None = Field(
        default=None, description="Told of these rooms only, but always of danger to people; null: of every room."
    )
    hours_from: TimeOfDay | None = Field(default=None, description="Called from then on; null: at any hour.")
    hours_to: TimeOfDay | None = Field(default=None, description="Until then; may be past midnight.")
    morning_text: bool = Field(default=False, description="Gets the two lines of the morning as a text.")
    who: Who

    @model_validator(mode="after")
    def _fits_together(self) -> PersonSaid:
        try:
            self.phone = None if self.phone is None else phone_number(self.phone, self.region)
        except NotUnderstood as error:
            raise ValueError(str(error)) from error
        if (self.hours_from is None) != (self.hours_to is None) or (
            self.hours_from is not None and self.hours_from == self.hours_to
        ):
            raise ValueError("hours have two different ends, or neither")
        if self.way == "mail" and self.email is None:
            raise ValueError("told by mail needs an e-mail address")
        if self.way == "voice" and self.phone is None:
            raise ValueError("told by call needs a phone")
        return self

    def kept(self) -> dict[str, Any]:
        """As it is kept."""
        same = ("name", "phone", "email", "units", "language", "way", "who")
        return {
            **{name: getattr(self, name) for name in same},
            **{name: int(getattr(self, name)) for name in ("active", "manager", "morning_text")},
            "room_ids": None if self.rooms is None else json.dumps(sorted(set(self.rooms))),
            "hours_from_minute": _minute(self.hours_from),
            "hours_to_minute": _minute(self.hours_to),
        }


class Person(Answered):
    """A person."""

    person_id: str
    name: str
    phone: str | None
    phone_in_use: bool | None = Field(
        description="Whether the number lies in a range that is known to be given out; false may mean mistyped."
    )
    email: str | None
    units: str
    language: str
    active: bool
    manager: bool
    way: str
    rooms: list[str] | None
    hours_from: str | None
    hours_to: str | None
    morning_text: bool
    round_trip: Shown | None = Field(
        description="When an answer last came from this very number. Until then texts to it ask for no answer."
    )
    rang: Shown | None = Field(description="When a night text was heard on this phone with its sound off.")
    opted_out: Shown | None = Field(description="When this number asked for no more texts.")
    missing: list[str] = Field(description="What is missing before this person can be relied on, in words.")
    recorded: Shown
    who: str


@router.get("/people", summary="Everyone, by name", responses=declared())
async def get_people(desk: AtDesk) -> list[Person]:
    async with desk.database.read() as connection:
        return [_person(row) for row in await people.all_people(connection, desk.farm_id)]


@router.put(
    "/people/{person_id}",
    summary="Add a person, or change what is known of them",
    description="A new number has proved nothing yet: what was proved of the old one is forgotten.",
    responses=declared(404, 409),
)
async def put_person(desk: AtDesk, person_id: PersonId, said: PersonSaid) -> Person:
    values = {"person_id": person_id, **said.kept(), "recorded_ms": desk.clock.now_ms()}
    async with changing(desk) as connection:
        for room_id in said.rooms or ():
            await rooms.room(connection, desk.farm_id, room_id)
        before = await people.find_person(connection, desk.farm_id, person_id)
        if before is None or before["phone"] != values["phone"]:
            values |= {"round_trip_ms": None, "rang_ms": None, "opted_out_ms": None}
        await _still_tellable(connection, desk.farm_id, values)
        await people.save_person(connection, desk.farm_id, values)
        return _person(await people.person(connection, desk.farm_id, person_id))


async def _still_tellable(connection: Connection, farm_id: int, values: Record) -> None:
    if not values["active"] or can_be_told(values):
        return
    person_id = values["person_id"]
    lines = await views.call_lines(connection, farm_id)
    turns = await views.people_with_turns(connection, farm_id)
    if person_id in turns or any(line["person_id"] == person_id for line in lines):
        where = "is on a call list or has turns"
        raise NotAllowed(f"{values['name']} {where}, and could not be told without phone and e-mail")


def _person(row: Record) -> Person:
    same = ("person_id", "name", "phone", "email", "units", "language", "way", "who")
    return Person(
        **{name: row[name] for name in same},
        phone_in_use=None if row["phone"] is None else in_use(row["phone"]),
        active=bool(row["active"]),
        manager=bool(row["manager"]),
        rooms=rooms_of(row),
        hours_from=_shown(row["hours_from_minute"]),
        hours_to=_shown(row["hours_to_minute"]),
        morning_text=bool(row["morning_text"]),
        round_trip=row["round_trip_ms"],
        rang=row["rang_ms"],
        opted_out=row["opted_out_ms"],
        missing=missing(row),
        recorded=row["recorded_ms"],
    )


def _minute(clock: str | None) -> int | None:
    return None if clock is None else 60 * int(clock[:2]) + int(clock[3:])


def _shown(minute: int | None) -> str | None:
    return None if minute is None else f"{minute // 60:02}:{minute % 60:02}"
