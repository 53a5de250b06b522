"""A person acts on a happening: the same table of moves, the same ledger, one commit."""

from __future__ import annotations

import json
from enum import StrEnum

from rules.alarm import Happens, State, Tells, move
from rules.limits import Key
from rules.model import Instant
from service.errors import NotAllowed, NotFound
from service.storage import judgements, ledger, outbox, people
from service.storage.database import Connection, Database
from service.storage.rows import Record


class Word(StrEnum):
    """What a person can answer."""

    GOING = "going"
    CANNOT = "cannot"


async def answer(
    database: Database, farm_id: int, *, room_id: str, person_id: str, word: Word, way: str, now_ms: Instant
) -> str:
    """Take a person's answer about a room.

    "Going" acknowledges the room's open alarms and stops further telling, but not of danger: whoever goes has to
    know of it as well. "Cannot" is only written down, so that the next person is told.

    Returns:
        The happening that was answered.

    Raises:
        NotFound: there is no such room or person.
        NotAllowed: nothing is open in the room and nothing waits for an answer. Nothing moved.
    """
    async with database.write() as connection:
        if await judgements.lock(connection, farm_id, room_id) is None:
            raise NotFound(f"there is no room {room_id!r}")
        await people.person(connection, farm_id, person_id)
        alarms = await ledger.alarms_of(connection, farm_id, room_id)
        waiting = {k: a for k, a in alarms.items() if a["happening_id"] is not None}
        if not waiting:
            raise NotAllowed("nothing is open in this room: there is nothing to answer")
        happening_id = str(max(waiting.values(), key=lambda a: a["since_ms"])["happening_id"])
        for happening in sorted({str(a["happening_id"]) for a in waiting.values()}):
            said = {"happening_id": happening, "person_id": person_id, "at_ms": now_ms, "word": word, "way": way}
            await ledger.add_answer(connection, farm_id, said)
        if word is Word.GOING:
            await _acknowledge(connection, farm_id, waiting, who=person_id, now_ms=now_ms)
            for happening in sorted({str(a["happening_id"]) for a in waiting.values()}):
                why, spare = f"{person_id} is going", ("back", "danger")
                await outbox.cancel_waiting(connection, farm_id, happening, at_ms=now_ms, why=why, spare=spare)
                await ledger.close_if_over(connection, farm_id, happening, now_ms)
        return happening_id


async def close_with_the_sheet(database: Database, farm_id: int, *, before_ms: Instant, now_ms: Instant) -> int:
    """Close what came back by itself and nobody answered, now that the morning sheet has told it.

    Returns:
        How many happenings were closed.
    """
    async with database.read() as connection:
        found = await ledger.unclosed_happenings(connection, farm_id, before_ms)
    for happening in found:
        async with database.write() as connection:
            room_id = str(happening["room_id"])
            await judgements.lock(connection, farm_id, room_id)
            alarms = await ledger.alarms_of(connection, farm_id, room_id)
            returned = {
                k: a
                for k, a in alarms.items()
                if a["happening_id"] == happening["happening_id"]
                and a["state"] == State.RETURNED_UNACKNOWLEDGED.value
            }
            await _acknowledge(connection, farm_id, returned, who="the morning sheet", now_ms=now_ms)
            await ledger.close_happening(connection, farm_id, str(happening["happening_id"]), now_ms)
    return len(found)


async def _acknowledge(
    connection: Connection, farm_id: int, alarms: dict[Key, Record], *, who: str, now_ms: Instant
) -> None:
    for (quantity, side), alarm in alarms.items():
        before = State(alarm["state"])
        if before not in {State.UNACKNOWLEDGED, State.RETURNED_UNACKNOWLEDGED}:
            continue
        moved = move(before, Happens.ACKNOWLEDGED)
        row = {**alarm, "state": moved.to.value}
        await ledger.set_alarm(
            connection,
            farm_id,
            {k: v for k, v in row.items() if k != "farm_id"},
            normal=moved.to is State.NORMAL,
        )
        told = {
            "room_id": alarm["room_id"],
            "quantity": quantity.value,
            "side": side.value,
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
