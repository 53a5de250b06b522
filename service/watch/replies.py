"""An answer by text: who sent it, what it says, what it does, and what is said back, all in one transaction.

What comes from a number that is nobody's is kept and shown, and never answered: whoever tries numbers learns
nothing. What is not understood gets one short help an hour, so that two machines cannot talk to each other all
night; our own words coming back get none at all.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from rules.model import HOUR_MS, MINUTE_MS, Instant
from service.errors import NotAllowed
from service.storage import inbound, outbox, people
from service.storage import rooms as stored_rooms
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.trials import heard_it_ring
from service.storage.turn import take_turn
from service.watch.desk import Desk
from service.watch.open_things import OpenThing, open_things
from service.watch.reply_acts import OUT_OF_NOTHING, answer_what_is_open, come_out
from service.watch.reply_asked import status, why
from service.watch.reply_case import LATELY_MS, Case, Outcome, nameable
from service.watch.reply_work import change_stage, stage_names, work
from service.wire.reply_lexicon import Order
from service.wire.reply_tokens import tokens_of
from service.wire.reply_words import NotUnderstood, Said, read
from service.wire.word import Word

BY_PHONE: Final = frozenset({"text", "modem"})
"""Ways by which a text of ours can be answered from the phone it went to."""
USEFUL_MS: Final = 30 * MINUTE_MS
"""What is said back is of no use later than that."""
HELP_EVERY_MS: Final = HOUR_MS
CLOCKS_DIFFER_MS: Final = 5 * MINUTE_MS
"""The gateway's clock and ours may be so far apart."""

NOBODYS: Final = "nobody's number"
HELP: Final = "help"
NOT_UNDERSTOOD: Final = "not understood"
OUR_OWN: Final = "our own words"
OPTED_OUT: Final = "opted out"
TEXTS_AGAIN: Final = "texts again"
_MOST_KEPT: Final = 2000
"""Characters of a text that are kept."""
_SAME_WORDS: Final = 5
"""So many words of a text of ours, in a row, are no accident."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """A text that came in."""

    way: str
    """``text``, ``modem``, ``link`` or ``page``."""
    phone: str | None
    """The number it came from, E.164; or ``person_id``, where somebody is known otherwise."""
    person_id: str | None
    text: str
    received_ms: Instant
    inbound_id: str
    """The gateway's id of it, or another natural key: the same text coming twice is one."""
    sent_ms: Instant | None = None
    """When the gateway says it was sent. It may come hours later, and means nothing that began since."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What came of a text."""

    result: str
    person_id: str | None = None
    word: str | None = None
    happening_id: str | None = None
    room_id: str | None = None
    delivery_id: str | None = None
    """What is said back by text, if anything."""
    facts: Mapping[str, Any] = field(default_factory=dict)
    """The facts of what is said back."""


_ACTS: Final[Mapping[Word, Callable[[Case], Awaitable[Outcome]]]] = {
    **dict.fromkeys((Word.GOING, Word.CANNOT, Word.FIXED, Word.PROBE), answer_what_is_open),
    Word.OUT: come_out,
    Word.WORKING: work,
    Word.STAGE: change_stage,
    Word.WHY: why,
    Word.STATUS: status,
}


async def take_reply(desk: Desk, reply: Reply) -> Result:
    """Take one text that came in. The same one again does nothing, and comes to what it came to before."""
    async with desk.database.write() as connection:
        await take_turn(connection, desk.farm_id)
        row = {
            "inbound_id": reply.inbound_id,
            "way": reply.way,
            "phone": _storable(reply.phone or ""),
            "text": _storable(reply.text),
            "received_ms": reply.received_ms,
        }
        if not await inbound.add_inbound(connection, desk.farm_id, row):
            return await _came_before(connection, desk, reply)
        person = await _sender(connection, desk, reply)
        taking = None if person is None else _Taking(connection=connection, desk=desk, reply=reply, person=person)
        result = Result(result=NOBODYS) if taking is None else await taking.take()
        ended = {"person_id": result.person_id, "word": result.word, "happening_id": result.happening_id}
        await inbound.end_inbound(connection, desk.farm_id, reply.inbound_id, {**ended, "result": result.result})
        return result


async def come_out_of(desk: Desk, *, room_id: str, person_id: str, way: str) -> str | None:
    """A person says, not by text, that they are out of a room.

    Returns:
        The happening for which they had gone in; ``None`` when they were only working there.

    Raises:
        NotFound: there is no such room or person.
        NotAllowed: they were not written down as going or working there. Nothing moved.
    """
    async with desk.database.write() as connection:
        await take_turn(connection, desk.farm_id)
        await stored_rooms.room(connection, desk.farm_id, room_id)
        person = await people.person(connection, desk.farm_id, person_id)
        said = Said(word=Word.OUT, room_id=room_id)
        outcome = await come_out(await _case(connection, desk, person, way, said))
        if outcome.result == OUT_OF_NOTHING:
            raise NotAllowed(f"{person['name']} is not written down as going or working there")
        return outcome.happening_id


async def _came_before(connection: Connection, desk: Desk, reply: Reply) -> Result:
    row = await inbound.inbound_row(connection, desk.farm_id, reply.inbound_id) or {}
    same = ("result", "person_id", "word", "happening_id")
    return Result(**{name: row[name] for name in same})


async def _sender(connection: Connection, desk: Desk, reply: Reply) -> Record | None:
    """Whoever has this number; of several, the one who was told something last."""
    everyone = [row for row in await people.all_people(connection, desk.farm_id) if row["active"]]
    known = {str(row["person_id"]): row for row in everyone}
    if reply.person_id is not None:
        return known.get(reply.person_id)
    number = _digits(reply.phone)
    theirs = sorted(person_id for person_id, row in known.items() if number and _digits(row["phone"]) == number)
    if len(theirs) > 1:
        return known[await inbound.told_last(connection, desk.farm_id, theirs) or theirs[0]]
    return known[theirs[0]] if theirs else None


async def _case(
    connection: Connection, desk: Desk, person: Record, way: str, said: Said, *, sent_ms: Instant | None = None
) -> Case:
    rooms, _ = await nameable(connection, desk.farm_id)
    return Case(
        connection=connection,
        desk=desk,
        person=person,
        way=way,
        said=said,
        rooms=rooms,
        things=[one for one in await open_things(connection, desk.farm_id) if _may_mean(sent_ms, one)],
        now_ms=desk.clock.now_ms(),
    )


def _may_mean(sent_ms: Instant | None, thing: OpenThing) -> bool:
    """Whether a thing had begun when the text was sent."""
    return sent_ms is None or thing.began_ms <= sent_ms + CLOCKS_DIFFER_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class _Taking:
    """Takes one text of one person, in one transaction."""

    connection: Connection
    desk: Desk
    reply: Reply
    person: Record

    @property
    def _farm_id(self) -> int:
        return self.desk.farm_id

    @property
    def _person_id(self) -> str:
        return str(self.person["person_id"])

    async def take(self) -> Result:
        """Understand it, do it, and say so."""
        now_ms = self.desk.clock.now_ms()
        if self.reply.way in BY_PHONE:
            at_ms = min(self.reply.received_ms, now_ms)
            await inbound.heard_from(self.connection, self._farm_id, self._person_id, at_ms)
        _, names = await nameable(self.connection, self._farm_id)
        said = read(self.reply.text, names, stage_names(await self.desk.catalogue.newest(self.connection)))
        if said is Order.OPT_OUT:
            return await self._opt_out(now_ms)
        if said is Order.OPT_IN and self.person["opted_out_ms"] is not None:
            await inbound.set_opted_out(self.connection, self._farm_id, self._person_id, None)
            return await self._say_back(Outcome(result=TEXTS_AGAIN), word=None)
        if isinstance(said, Order | NotUnderstood):
            return await self._not_understood(now_ms)
        case = await self._case(said)
        if said.word is Word.HERE and self.reply.way in BY_PHONE:
            at_ms = min(self.reply.received_ms, now_ms)
            await heard_it_ring(self.connection, self._farm_id, self._person_id, at_ms)
        outcome = await _ACTS[said.word](case) if said.word in _ACTS else Outcome(result="here")
        return await self._say_back(outcome, word=said.word)

    async def _case(self, said: Said) -> Case:
        reply = self.reply
        return await _case(self.connection, self.desk, self.person, reply.way, said, sent_ms=reply.sent_ms)

    async def _opt_out(self, now_ms: Instant) -> Result:
        """The phone company sends them nothing more; whoever runs the farm hears of it at once."""
        if self.person["opted_out_ms"] is None:
            await inbound.set_opted_out(self.connection, self._farm_id, self._person_id, now_ms)
            notice = self._notice("opted out", {"person": self.person["name"], "room": None}, room_id=None)
            for other in await people.all_people(self.connection, self._farm_id):
                way = _way_to(other)
                if other["manager"] and other["active"] and other["person_id"] != self._person_id and way:
                    to = str(other["person_id"])
                    await outbox.add_direct(self.connection, self._farm_id, notice, person_id=to, way=way)
        return Result(result=OPTED_OUT, person_id=self._person_id)

    async def _not_understood(self, now_ms: Instant) -> Result:
        """One short help, unless it was sent within the hour, or what came is what we had sent."""
        if await self._is_ours(now_ms):
            return Result(result=OUR_OWN, person_id=self._person_id)
        since_ms = now_ms - HELP_EVERY_MS
        had = await inbound.has_had(self.connection, self._farm_id, self._person_id, HELP, since_ms=since_ms)
        if had or self.reply.way not in BY_PHONE or self.person["opted_out_ms"] is not None:
            return Result(result=NOT_UNDERSTOOD, person_id=self._person_id)
        case = await self._case(Said(word=Word.STATUS))
        facts = {"reply": case.reply(case.any_room())}
        return await self._say_back(Outcome(result=HELP, facts=facts), word=None)

    async def _is_ours(self, now_ms: Instant) -> bool:
        """Whether a text holds the beginning of one that we sent: quoted, forwarded, or sent back by a machine."""
        since_ms = now_ms - LATELY_MS
        came = f" {' '.join(tokens_of(self.reply.text))} "
        for text in await inbound.texts_to(self.connection, self._farm_id, self._person_id, since_ms=since_ms):
            ours = tokens_of(text)[:_SAME_WORDS]
            if len(ours) == _SAME_WORDS and f" {' '.join(ours)} " in came:
                return True
        return False

    async def _say_back(self, outcome: Outcome, *, word: Word | None) -> Result:
        rooms, _ = await nameable(self.connection, self._farm_id)
        name = next((row["text_name"] for row in rooms if row["room_id"] == outcome.room_id), None)
        said = None if word is None else word.value
        facts = {"result": outcome.result, "room": name, "word": said, **outcome.facts}
        notice = self._notice("answer", facts, room_id=outcome.room_id)
        delivery_id = None
        # The phone company would stop it, until they take that back.
        reaches = self.person["opted_out_ms"] is None or outcome.result == TEXTS_AGAIN
        if self.reply.way in BY_PHONE and reaches:
            to = self._person_id
            delivery_id = await outbox.add_direct(self.connection, self._farm_id, notice, person_id=to, way="text")
        return Result(
            result=outcome.result,
            person_id=self._person_id,
            word=said,
            happening_id=outcome.happening_id,
            room_id=outcome.room_id,
            delivery_id=delivery_id,
            facts=notice["facts"],
        )

    def _notice(self, kind: str, facts: Record, *, room_id: str | None) -> Record:
        """What is said back. It belongs to no happening: it is no telling of one, and wakes nobody."""
        now_ms, farm = self.desk.clock.now_ms(), self.desk.farm
        common = {"at_ms": now_ms, "zone": farm["zone"], "invented": bool(farm["invented"])}
        return {
            "notice_key": f"{kind}/{self.reply.inbound_id}",
            "kind": kind,
            "room_id": room_id,
            "happening_id": None,
            "at_ms": now_ms,
            "decided_ms": now_ms,
            "use_by_ms": now_ms + (USEFUL_MS if kind == "answer" else LATELY_MS),
            "facts": {**common, **facts},
        }


def _way_to(person: Record) -> str | None:
    """How somebody hears of this: by text, unless they read mail or cannot be sent texts."""
    can_text = person["phone"] and person["opted_out_ms"] is None
    if person["email"] and (person["way"] == "mail" or not can_text):
        return "mail"
    return "text" if can_text else None


def _storable(text: str) -> str:
    """A text as both databases can hold it."""
    return text[:_MOST_KEPT].encode("utf-8", "replace").decode().replace("\x00", "\N{SYMBOL FOR NULL}")


def _digits(phone: str | None) -> str:
    """The digits of a number in E.164: gateways differ over the plus and the spaces."""
    return "".join(letter for letter in phone or "" if letter.isdecimal())
