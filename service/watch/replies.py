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
from service.storage import inbound, outbox, people
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.turn import take_turn
from service.watch.desk import Desk
from service.watch.open_things import OpenThing, open_things
from service.watch.reply_acts import answer_what_is_open, come_out
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
        return await _take(connection, desk, reply)


async def _take(connection: Connection, desk: Desk, reply: Reply) -> Result:
    row = {
        "inbound_id": reply.inbound_id,
        "way": reply.way,
        "phone": reply.phone or "",
        "text": reply.text.replace("\x00", ""),
        "received_ms": reply.received_ms,
    }
    if not await inbound.add_inbound(connection, desk.farm_id, row):
        return await _came_before(connection, desk, reply)
    person = await _sender(connection, desk, reply)
    result = Result(result=NOBODYS) if person is None else await _from_person(connection, desk, reply, person)
    ended = {"person_id": result.person_id, "word": result.word, "happening_id": result.happening_id}
    await inbound.end_inbound(connection, desk.farm_id, reply.inbound_id, {**ended, "result": result.result})
    return result


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


async def _from_person(connection: Connection, desk: Desk, reply: Reply, person: Record) -> Result:
    if reply.way in BY_PHONE:
        at_ms = min(reply.received_ms, desk.clock.now_ms())
        await inbound.heard_from(connection, desk.farm_id, str(person["person_id"]), at_ms)
    rooms, names = await nameable(connection, desk.farm_id)
    stages = stage_names(await desk.catalogue.newest(connection))
    said = read(reply.text, names, stages)
    if said is Order.OPT_OUT:
        return await _opt_out(connection, desk, reply, person)
    if said is Order.OPT_IN and person["opted_out_ms"] is not None:
        await inbound.set_opted_out(connection, desk.farm_id, str(person["person_id"]), None)
        return await _say_back(connection, desk, reply, person, Outcome(result="texts again"), word=None)
    if isinstance(said, Order | NotUnderstood):
        return await _not_understood(connection, desk, reply, person, rooms)
    case = Case(
        connection=connection,
        desk=desk,
        person=person,
        way=reply.way,
        said=said,
        rooms=rooms,
        things=[thing for thing in await open_things(connection, desk.farm_id) if _may_mean(reply, thing)],
        now_ms=desk.clock.now_ms(),
    )
    outcome = await _ACTS[said.word](case) if said.word in _ACTS else Outcome(result="here")
    return await _say_back(connection, desk, reply, person, outcome, word=said.word.value)


def _may_mean(reply: Reply, thing: OpenThing) -> bool:
    """Whether a thing had begun when the text was sent."""
    return reply.sent_ms is None or thing.began_ms <= reply.sent_ms + CLOCKS_DIFFER_MS


async def _opt_out(connection: Connection, desk: Desk, reply: Reply, person: Record) -> Result:
    """The phone company sends them nothing more; whoever runs the farm hears of it at once."""
    person_id, now_ms = str(person["person_id"]), desk.clock.now_ms()
    if person["opted_out_ms"] is None:
        await inbound.set_opted_out(connection, desk.farm_id, person_id, now_ms)
        for manager in await people.all_people(connection, desk.farm_id):
            way = _way_to(manager)
            if manager["manager"] and manager["active"] and manager["person_id"] != person_id and way:
                notice = _notice(desk, "opted out", reply, {"person": person["name"]}, room_id=None)
                await outbox.add_direct(
                    connection, desk.farm_id, notice, person_id=str(manager["person_id"]), way=way
                )
    return Result(result=OPTED_OUT, person_id=person_id)


def _way_to(person: Record) -> str | None:
    can_text = person["phone"] and person["opted_out_ms"] is None
    if person["email"] and (person["way"] == "mail" or not can_text):
        return "mail"
    return "text" if can_text else None


async def _not_understood(
    connection: Connection, desk: Desk, reply: Reply, person: Record, rooms: list[Record]
) -> Result:
    """One short help, unless it was sent within the hour, or what came is what we had sent."""
    person_id, now_ms = str(person["person_id"]), desk.clock.now_ms()
    if await _is_ours(connection, desk, reply, person_id):
        return Result(result=OUR_OWN, person_id=person_id)
    since_ms = now_ms - HELP_EVERY_MS
    had = await inbound.has_had(connection, desk.farm_id, person_id, HELP, since_ms=since_ms)
    if had or reply.way not in BY_PHONE or person["opted_out_ms"] is not None:
        return Result(result=NOT_UNDERSTOOD, person_id=person_id)
    said = Said(word=Word.STATUS)
    things = await open_things(connection, desk.farm_id)
    case = Case(
        connection=connection,
        desk=desk,
        person=person,
        way=reply.way,
        said=said,
        rooms=rooms,
        things=things,
        now_ms=now_ms,
    )
    outcome = Outcome(result=HELP, facts={"reply": case.reply(case.any_room())})
    return await _say_back(connection, desk, reply, person, outcome, word=None)


async def _is_ours(connection: Connection, desk: Desk, reply: Reply, person_id: str) -> bool:
    """Whether a text holds the beginning of one that we sent: quoted, forwarded, or sent back by a machine."""
    since_ms = desk.clock.now_ms() - LATELY_MS
    came = f" {' '.join(tokens_of(reply.text))} "
    for text in await inbound.texts_to(connection, desk.farm_id, person_id, since_ms=since_ms):
        ours = tokens_of(text)[:_SAME_WORDS]
        if len(ours) == _SAME_WORDS and f" {' '.join(ours)} " in came:
            return True
    return False


async def _say_back(
    connection: Connection, desk: Desk, reply: Reply, person: Record, outcome: Outcome, *, word: str | None
) -> Result:
    person_id = str(person["person_id"])
    rooms, _ = await nameable(connection, desk.farm_id)
    room = next((row["text_name"] for row in rooms if row["room_id"] == outcome.room_id), None)
    facts = {"result": outcome.result, "room": room, "word": word, **outcome.facts}
    notice = _notice(desk, "answer", reply, facts, room_id=outcome.room_id)
    delivery_id = None
    if reply.way in BY_PHONE:
        delivery_id = await outbox.add_direct(connection, desk.farm_id, notice, person_id=person_id, way="text")
    return Result(
        result=outcome.result,
        person_id=person_id,
        word=word,
        happening_id=outcome.happening_id,
        room_id=outcome.room_id,
        delivery_id=delivery_id,
        facts=notice["facts"],
    )


def _notice(desk: Desk, kind: str, reply: Reply, facts: Record, *, room_id: str | None) -> Record:
    """What is said back. It belongs to no happening: it is no telling of one, and wakes nobody."""
    now_ms = desk.clock.now_ms()
    common = {"at_ms": now_ms, "zone": desk.farm["zone"], "invented": bool(desk.farm["invented"])}
    return {
        "notice_key": f"{kind}/{reply.inbound_id}",
        "kind": kind,
        "room_id": room_id,
        "happening_id": None,
        "at_ms": now_ms,
        "decided_ms": now_ms,
        "use_by_ms": now_ms + USEFUL_MS,
        "facts": {**common, **facts},
    }


def _digits(phone: str | None) -> str:
    """The digits of a number in E.164: gateways differ over the plus and the spaces."""
    return "".join(letter for letter in phone or "" if letter.isdecimal())
