"""A person answers: the same table of moves, the same ledger, one commit.

"Going" and "fixed" stop the telling of what is answered, and so does "it was the probe", though never the telling
of danger to people. "Cannot" has the next person told; said after "going", it sets the telling going again. "Out"
ends the watch over whoever went in.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from rules.alarm import Happens, State, Tells, move
from rules.limits import Key
from rules.model import HOUR_MS, MINUTE_MS, Instant, Side
from service.errors import NotAllowed
from service.storage import judgements, ledger, outbox, people, rooms
from service.storage.database import Connection, Database
from service.storage.rows import Record
from service.watch.open_things import OUT_MARK, OpenThing, kind_of, open_things
from service.watch.out_clock import came_out, end_watch
from service.wire.word import Word

__all__ = ["OpenThing", "Taken", "Word", "answer", "close_with_the_sheet", "open_things", "take"]

STOPS: Final = frozenset({Word.GOING, Word.FIXED, Word.PROBE})
"""Words after which nobody further is told."""
FOR_THE_CHAIN: Final = STOPS | {Word.CANNOT}
SPARED: Final = ("danger", *outbox.TO_THOSE_WOKEN)
"""Kinds of notices that go out whatever somebody answered."""
TAKEN_FOR_MS: Final = 30 * MINUTE_MS
"""That somebody is going is news for so long."""
OF_USE_AGAIN_MS: Final = 2 * HOUR_MS
"""So long the next people may be told after somebody took back that they go."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """An answer that was taken."""

    happening_id: str
    ended_ms: Instant | None
    """When what was answered had ended, if it had."""
    going_before: tuple[str, ...]
    """Names of those who had said that they go."""
    told: int
    """How many others were told of it by then."""


async def answer(
    database: Database, farm_id: int, *, room_id: str, person_id: str, word: Word, way: str, now_ms: Instant
) -> str:
    """Take a person's answer about everything that is open in a room.

    Returns:
        The happening that was answered, the newest one.

    Raises:
        NotFound: there is no such room or person.
        NotAllowed: nothing is open in the room and nothing waits for an answer. Nothing moved.
    """
    async with database.write() as connection:
        await rooms.room(connection, farm_id, room_id)
        await people.person(connection, farm_id, person_id)
        things = [thing for thing in await open_things(connection, farm_id) if room_id in thing.room_ids]
        things = meant_by(word, things)
        if not things:
            raise NotAllowed("nothing is open in this room: there is nothing to answer")
        await hold_rooms(connection, farm_id, things)
        for thing in things:
            await take(
                connection,
                farm_id,
                happening_id=thing.happening_id,
                person_id=person_id,
                word=word,
                way=way,
                now_ms=now_ms,
            )
        return things[0].happening_id


async def take(
    connection: Connection,
    farm_id: int,
    *,
    happening_id: str,
    person_id: str,
    word: Word,
    way: str,
    now_ms: Instant,
) -> Taken:
    """Take a person's answer to one happening, in the transaction of ``connection``.

    Raises:
        NotFound: there is no such happening or person.
    """
    person = await people.person(connection, farm_id, person_id)
    parts = await _taken_up(connection, farm_id, happening_id)
    happening = parts[0]
    happening_id = str(happening["happening_id"])
    if _says_nothing(happening_id, person_id, word):
        return Taken(happening_id=happening_id, ended_ms=happening["ended_ms"], going_before=(), told=0)
    answers = await outbox.answers_of(connection, farm_id, happening_id)
    going = who_is_going(answers)
    takes_back = word is Word.CANNOT and person_id in who_is_going(answers, STOPS)
    told = await outbox.tellings_of(connection, farm_id, happening_id)
    for part in parts:
        said = {"person_id": person_id, "at_ms": now_ms, "word": word.value, "way": way}
        await ledger.add_answer(connection, farm_id, {"happening_id": part["happening_id"], **said})
        await _act(connection, farm_id, part, word, who=person, now_ms=now_ms, takes_back=takes_back)
    await _who_is_out(connection, farm_id, happening_id, person_id, word, now_ms=now_ms)
    if word is Word.GOING and not going and happening["ended_ms"] is None:
        await _tell_the_rest(connection, farm_id, happening, person, now_ms)
    others = {t["person_id"] for t in told if t["state"] in {outbox.SENT, outbox.UNSURE}} - {person_id}
    names = [await people.person(connection, farm_id, other) for other in going if other != person_id]
    return Taken(
        happening_id=happening_id,
        ended_ms=happening["ended_ms"],
        going_before=tuple(row["name"] for row in names),
        told=len(others),
    )


async def _who_is_out(
    connection: Connection, farm_id: int, happening_id: str, person_id: str, word: Word, *, now_ms: Instant
) -> None:
    """Whoever says so is, and so is whoever they were to look after: they brought them out."""
    if word is Word.OUT:
        await came_out(connection, farm_id, person_id, now_ms)
    if word in {Word.OUT, Word.FIXED} and kind_of(happening_id) == "out":
        await end_watch(connection, farm_id, happening_id, now_ms)


async def hold_rooms(connection: Connection, farm_id: int, things: Sequence[OpenThing]) -> None:
    """Take all rooms of several happenings, in the order in which whoever takes several takes them."""
    for room_id in sorted({room_id for thing in things for room_id in thing.room_ids}):
        await judgements.lock(connection, farm_id, room_id)


def meant_by(word: Word, things: Sequence[OpenThing]) -> list[OpenThing]:
    """What an answer about a room is about: "fixed" and "probe" tell of its air, and not of who went in there."""
    of_air = [thing for thing in things if thing.kind != "out"]
    return of_air if of_air and word in {Word.FIXED, Word.PROBE} else list(things)


def _says_nothing(happening_id: str, person_id: str, word: Word) -> bool:
    """Whoever is looked for does not go and look for themselves, and no probe was wrong about them."""
    is_self = happening_id.startswith(f"{OUT_MARK}{person_id}@")
    return kind_of(happening_id) == "out" and (word is Word.PROBE or (is_self and word is Word.GOING))


async def _taken_up(connection: Connection, farm_id: int, happening_id: str) -> list[Record]:
    """A happening, and those that are told as one with it; their rooms are taken, always in the same order.

    What became part of something larger since somebody was told of it is answered with all of that.
    """
    happening_id = await _told_with(connection, farm_id, happening_id)
    parts = await ledger.parts_of(connection, farm_id, happening_id)
    whole = await ledger.happening(connection, farm_id, happening_id)
    for room_id in sorted({str(part["room_id"]) for part in (whole, *parts) if part["room_id"]}):
        await judgements.lock(connection, farm_id, room_id)
    return [await ledger.happening(connection, farm_id, happening_id), *parts]


async def _told_with(connection: Connection, farm_id: int, happening_id: str) -> str:
    whole_id = (await ledger.happening(connection, farm_id, happening_id))["part_of"]
    if whole_id is None:
        return happening_id
    whole = await ledger.happening(connection, farm_id, str(whole_id))
    return happening_id if whole["ended_ms"] is not None else str(whole_id)


async def _act(
    connection: Connection,
    farm_id: int,
    happening: Record,
    word: Word,
    *,
    who: Record,
    now_ms: Instant,
    takes_back: bool,
) -> None:
    """Do what an answer means for one happening; ``takes_back``: they had ended the telling, and now cannot."""
    happening_id, name = str(happening["happening_id"]), str(who["name"])
    for_people = happening_id.endswith(ledger.PEOPLE_MARK)
    goes_on = happening["ended_ms"] is None and happening["part_of"] is None  # a part is told with the whole
    if takes_back and goes_on:
        await outbox.open_again(connection, farm_id, happening_id, use_by_ms=now_ms + OF_USE_AGAIN_MS)
    if word not in STOPS or (word is Word.PROBE and for_people):
        return
    await _acknowledge_all(connection, farm_id, happening, who=str(who["person_id"]), now_ms=now_ms)
    why = {Word.GOING: "is going", Word.FIXED: "mended it", Word.PROBE: "says it was the probe"}[word]
    await outbox.cancel_waiting(connection, farm_id, happening_id, at_ms=now_ms, why=f"{name} {why}", spare=SPARED)
    await ledger.close_if_over(connection, farm_id, happening_id, now_ms)


def who_is_going(answers: Sequence[Record], words: Collection[str] = frozenset({Word.GOING})) -> list[str]:
    """People whose last word for the chain is one of ``words``."""
    last: dict[str, str] = {}
    for said in answers:
        if said["word"] in FOR_THE_CHAIN:
            last.pop(said["person_id"], None)
            last[said["person_id"]] = said["word"]
    return [person for person, word in last.items() if word in words]


def taken_back_ms(answers: Sequence[Record]) -> Instant | None:
    """When the last of those who had ended the telling said that they cannot; ``None`` while one stands."""
    ended, back_ms = False, None
    for n, said in enumerate(answers):
        ends = bool(who_is_going(answers[: n + 1], STOPS))
        if ended and not ends:
            back_ms = said["at_ms"]
        ended = ends
    return None if ended else back_ms


async def _tell_the_rest(
    connection: Connection, farm_id: int, happening: Record, person: Record, now_ms: Instant
) -> None:
    """Those who were woken as well hear that somebody is going."""
    farm = await rooms.farm(connection, farm_id)
    room_id = happening["room_id"]
    room = None if room_id is None else await rooms.room(connection, farm_id, str(room_id))
    facts = {
        "room": None if room is None else room["text_name"],
        "person": person["name"],
        "person_id": person["person_id"],
        "at_ms": now_ms,
        "zone": farm["zone"],
        "invented": bool(farm["invented"]),
    }
    notice = {
        "notice_key": f"{happening['happening_id']}/taken/{now_ms}",
        "kind": "taken",
        "telling": "wake",
        "room_id": room_id,
        "happening_id": happening["happening_id"],
        "at_ms": now_ms,
        "decided_ms": now_ms,
        "use_by_ms": now_ms + TAKEN_FOR_MS,
        "facts": facts,
    }
    await ledger.add_notices(connection, farm_id, [notice])


async def close_with_the_sheet(database: Database, farm_id: int, *, before_ms: Instant, now_ms: Instant) -> int:
    """Close what came back by itself and nobody answered, now that the morning sheet has told it.

    Returns:
        How many happenings were closed.
    """
    async with database.read() as connection:
        found = await ledger.unclosed_happenings(connection, farm_id, before_ms)
    for happening in found:
        async with database.write() as connection:
            if happening["room_id"] is not None:
                await judgements.lock(connection, farm_id, str(happening["room_id"]))
            await _acknowledge_all(
                connection,
                farm_id,
                happening,
                who="the morning sheet",
                now_ms=now_ms,
                states=frozenset({State.RETURNED_UNACKNOWLEDGED}),
            )
            await ledger.close_happening(connection, farm_id, str(happening["happening_id"]), now_ms)
    return len(found)


async def _acknowledge_all(
    connection: Connection,
    farm_id: int,
    happening: Record,
    *,
    who: str,
    now_ms: Instant,
    states: Collection[State] = frozenset({State.UNACKNOWLEDGED, State.RETURNED_UNACKNOWLEDGED}),
) -> None:
    """Acknowledge the alarms of a happening that are in one of ``states``."""
    if happening["room_id"] is None:
        return
    alarms = await ledger.alarms_of(connection, farm_id, str(happening["room_id"]))
    for key, alarm in alarms.items():
        if alarm["happening_id"] == happening["happening_id"] and State(alarm["state"]) in states:
            await _acknowledge(connection, farm_id, key, alarm, who=who, now_ms=now_ms)


async def _acknowledge(
    connection: Connection, farm_id: int, key: Key, alarm: Record, *, who: str, now_ms: Instant
) -> None:
    before = State(alarm["state"])
    moved = move(before, Happens.ACKNOWLEDGED)
    row = {name: value for name, value in alarm.items() if name != "farm_id"} | {"state": moved.to.value}
    await ledger.set_alarm(connection, farm_id, row, normal=moved.to is State.NORMAL)
    quantity, side = key
    told = {
        "room_id": alarm["room_id"],
        "quantity": quantity.value,
        "side": Side(side).value,
        "at_ms": now_ms,
        "happens": Happens.ACKNOWLEDGED.value,
        "from_state": before.value,
        "to_state": moved.to.value,
        "decided_ms": now_ms,
        "who": who,
        "happening_id": alarm["happening_id"],
        "facts": json.dumps({"tells": Tells.NOTHING.value}),
    }
    await ledger.add_transitions(connection, farm_id, [told])
