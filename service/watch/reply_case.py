"""One answer on its way to being acted on: who said it, what could be meant, and how texts name it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from rules.limits import Key
from rules.model import HOUR_MS, Instant, Quantity, Side
from service.storage import inbound, ledger, rooms
from service.storage.database import Connection
from service.storage.rooms import COOLER
from service.storage.rows import Record
from service.watch.desk import Desk
from service.watch.open_things import OpenThing
from service.watch.room_now import is_open
from service.wire.reply_words import Said, reply_name
from service.wire.word import Word

LATELY_MS: Final = 24 * HOUR_MS
"""So long back an answer may reach."""
SITE: Final = "@site"
SITE_NAMES: Final = ("farm", "granja", "site", "sitio")
"""How an answer names what is of no one room."""
_BAD_AIR: Final[frozenset[Key]] = frozenset({(Quantity.CO2, Side.HIGH), (Quantity.CO2, Side.PEOPLE)})


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What an answer came to, and what is said back."""

    result: str
    room_id: str | None = None
    happening_id: str | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)
    """Beside the result, room and time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What the acts need, within one transaction."""

    connection: Connection
    desk: Desk
    person: Record
    way: str
    said: Said
    rooms: Sequence[Record]
    things: Sequence[OpenThing]
    now_ms: Instant

    @property
    def farm_id(self) -> int:
        """The farm's number."""
        return self.desk.farm_id

    @property
    def person_id(self) -> str:
        """Who said it."""
        return str(self.person["person_id"])

    def room_name(self, room_id: str | None) -> str | None:
        """A room's text name; ``None`` for the whole farm."""
        return next((str(room["text_name"]) for room in self.rooms if room["room_id"] == room_id), None)

    def reply(self, room_id: str | None) -> str:
        """How an answer names a room, or what is of no one room."""
        name = self.room_name(room_id)
        if name is None:
            return SITE_NAMES[1] if self.person["language"] == "es" else SITE_NAMES[0]
        return reply_name(name, [str(room["text_name"]) for room in self.rooms])

    def any_room(self) -> str | None:
        """A room to give an example with: one that is talked about, else the first."""
        talked_about = next((room_id for one in self.things for room_id in one.room_ids), None)
        return talked_about or next((str(room["room_id"]) for room in self.rooms), None)

    def named(self, things: Iterable[OpenThing]) -> list[OpenThing]:
        """Those of them that the answer names; all where it names none."""
        room_id = self.said.room_id
        if room_id is None:
            return list(things)
        if room_id.startswith(SITE):
            return [thing for thing in things if not thing.room_ids or thing.kind == "site"]
        return [thing for thing in things if room_id in thing.room_ids]

    async def going_to(self) -> list[str]:
        """The happenings that this person said to go to, and did not take back or come out of."""
        inside: dict[str, None] = {}
        since_ms = self.now_ms - LATELY_MS
        for answer in await inbound.answers_by(self.connection, self.farm_id, self.person_id, since_ms=since_ms):
            if answer["word"] == Word.GOING:
                inside[answer["happening_id"]] = None
            elif answer["word"] in {Word.OUT, Word.CANNOT}:
                inside.pop(answer["happening_id"], None)
        return list(inside)

    async def caution(self, things: Iterable[OpenThing], *, room_id: str | None) -> str | None:
        """What whoever goes has to be told, by what is wrong there and what kind of room it is."""
        kinds = {thing.kind for thing in things}
        if room_id is None:
            return "power" if "site" in kinds else None
        alarms = await ledger.alarms_of(self.connection, self.farm_id, room_id)
        open_keys = {key for key, alarm in alarms.items() if is_open(alarm["state"])}
        if "people" in kinds or open_keys & _BAD_AIR:
            return "co2"
        room = next(room for room in self.rooms if room["room_id"] == room_id)
        return "cooler" if room["kind"] == COOLER else None


def room_of(thing: OpenThing) -> str | None:
    """The one room that a happening is about, if there is one."""
    if thing.kind == "site":
        return None
    return thing.room_ids[0] if len(thing.room_ids) == 1 else thing.room_id


async def nameable(connection: Connection, farm_id: int) -> tuple[list[Record], dict[str, str]]:
    """The rooms, and everything that an answer can name, by its id."""
    every = await rooms.all_rooms(connection, farm_id)
    names = {str(room["room_id"]): str(room["text_name"]) for room in every}
    taken = {name.casefold() for name in names.values()}
    return every, names | {f"{SITE} {name}": name for name in SITE_NAMES if name not in taken}
