"""People, and whom to call in what order."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal, TypeAlias

import phonenumbers
from fastapi import APIRouter
from pydantic import AfterValidator, Field, model_validator

from rules.model import MINUTE_MS
from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, Language, Name, PersonId, UnitsName, Who
from service.api.moments import Shown
from service.api.problems import declared
from service.errors import NotAllowed
from service.log import log
from service.storage import people, views
from service.storage.rows import Record

router = APIRouter(tags=["people"])

LONGEST_WAIT_MINUTES: Final = 24 * 60
MOST_LINES: Final = 30
_EMAIL: Final = re.compile(r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~.-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")
"""Addresses as people have them; the quoted and bracketed ones of RFC 5322 are left out on purpose."""

Daypart: TypeAlias = Literal["day", "night"]


def _phone(text: str) -> str:
    """Return a number as E.164 writes it: "+", country, number."""
    try:
        number = phonenumbers.parse(text, None)
    except phonenumbers.NumberParseException as error:
        raise ValueError("not a phone number: write it with + and the country, such as +1 202 555 0123") from error
    if number.extension or not phonenumbers.is_possible_number(number):
        raise ValueError("not a number that a text can be sent to; are all digits there?")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def _email(text: str) -> str:
    if _EMAIL.fullmatch(text) is None or ".." in text:
        raise ValueError("not an e-mail address")
    return text


class PersonSaid(Asked):
    """All that can be said of a person."""

    name: Name
    phone: Annotated[str, Field(max_length=40), AfterValidator(_phone)] | None = Field(
        description="With + and country; kept as E.164."
    )
    email: Annotated[str, Field(max_length=254), AfterValidator(_email)] | None
    units: UnitsName
    language: Language
    active: bool = Field(description="Somebody who left is told nothing.")
    who: Who


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
    recorded: Shown
    who: str


class LineAsked(Asked):
    """One line of a call list."""

    person_id: PersonId
    after_minutes: Annotated[float, Field(ge=0, le=LONGEST_WAIT_MINUTES)] = Field(
        description="How long after the first, if nobody answered. The first two are told at once."
    )


class CallListAsked(Asked):
    """Whom to tell, in order."""

    lines: Annotated[list[LineAsked], Field(max_length=MOST_LINES)]
    who: Who

    @model_validator(mode="after")
    def _in_order(self) -> CallListAsked:
        if len({line.person_id for line in self.lines}) < len(self.lines):
            raise ValueError("somebody is on the list twice")
        waits = [line.after_minutes for line in self.lines]
        if waits != sorted(waits):
            raise ValueError("nobody further down may be told sooner")
        return self


class Line(Answered):
    """One line of a call list with the person on it."""

    person_id: str
    name: str
    after_minutes: float
    active: bool = Field(description="False: passed over.")


class CallList(Answered):
    """Whom to tell by day or by night."""

    daypart: Daypart
    lines: list[Line]


@router.get("/people", summary="Everyone, by name", responses=declared())
async def get_people(desk: AtDesk) -> list[Person]:
    async with desk.database.read() as connection:
        return [_person(row) for row in await people.all_people(connection, desk.farm_id)]


@router.put(
    "/people/{person_id}", summary="Add a person, or change what is known of them", responses=declared(409)
)
async def put_person(desk: AtDesk, person_id: PersonId, said: PersonSaid) -> Person:
    values = {
        "person_id": person_id,
        **said.model_dump(),
        "active": int(said.active),
        "recorded_ms": desk.clock.now_ms(),
    }
    async with changing(desk) as connection:
        if said.active and not _can_be_told(values):
            lines = await views.call_lines(connection, desk.farm_id)
            if any(line["person_id"] == person_id for line in lines):
                raise NotAllowed(f"{said.name} is on a call list and could not be told without phone and e-mail")
        await people.save_person(connection, desk.farm_id, values)
    return _person(values)


@router.get("/call-lists/{daypart}", summary="Whom to tell by day or by night", responses=declared())
async def get_call_list(desk: AtDesk, daypart: Daypart) -> CallList:
    async with desk.database.read() as connection:
        return _call_list(daypart, await views.call_lines(connection, desk.farm_id, daypart))


@router.put("/call-lists/{daypart}", summary="Change whom to tell", responses=declared(404, 409))
async def put_call_list(desk: AtDesk, daypart: Daypart, asked: CallListAsked) -> CallList:
    lines = [(line.person_id, round(line.after_minutes * MINUTE_MS)) for line in asked.lines]
    async with changing(desk) as connection:
        await people.set_call_list(
            connection, desk.farm_id, daypart, lines, who=asked.who, recorded_ms=desk.clock.now_ms()
        )
        rows = await views.call_lines(connection, desk.farm_id, daypart)
        mute = [row["name"] for row in rows if not _can_be_told(row)]
        if mute:
            raise NotAllowed(f"{', '.join(mute)} could not be told: no phone and no e-mail is known")
    log.info("call list changed", daypart=daypart, people=[person_id for person_id, _ in lines], who=asked.who)
    return _call_list(daypart, rows)


def _can_be_told(row: Record) -> bool:
    return bool(row["phone"] or row["email"])


def _person(row: Record) -> Person:
    return Person(
        person_id=row["person_id"],
        name=row["name"],
        phone=row["phone"],
        phone_in_use=None if row["phone"] is None else _in_use(row["phone"]),
        email=row["email"],
        units=row["units"],
        language=row["language"],
        active=bool(row["active"]),
        recorded=row["recorded_ms"],
        who=row["who"],
    )


def _in_use(phone: str) -> bool:
    try:
        return phonenumbers.is_valid_number(phonenumbers.parse(phone, None))
    except phonenumbers.NumberParseException:
        return False


def _call_list(daypart: Daypart, rows: list[Record]) -> CallList:
    lines = [
        Line(
            person_id=row["person_id"],
            name=row["name"],
            after_minutes=row["after_ms"] / MINUTE_MS,
            active=bool(row["active"]),
        )
        for row in rows
    ]
    return CallList(daypart=daypart, lines=lines)
