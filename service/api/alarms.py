"""Alarms: what is open, what was told, and what people answer."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from service.api.access import MOST_ROWS, AskedLimit, AskedSpan, AtDesk
from service.api.fields import Answered, Asked, PersonId, RoomId
from service.api.moments import Shown
from service.api.problems import declared
from service.storage import rooms, views
from service.storage.rows import Record
from service.watch.replies import come_out_of
from service.watch.respond import Word, answer
from service.watch.room_now import SPOKEN, is_open

router = APIRouter(tags=["alarms"])


class Alarm(Answered):
    """An alarm that is not simply over, known by room, quantity and side."""

    room_id: str
    quantity: str
    side: str
    open: bool = Field(description="Beyond the limit right now.")
    state: str = Field(description="Open, somebody is going, or over and nobody answered.")
    since: Shown
    happening_id: str | None


class Told(Answered):
    """One line of the told ledger. States are those of the alarm model of ISA-18.2."""

    room_id: str
    quantity: str
    side: str
    at: Shown = Field(description="When it happened.")
    happens: str
    from_state: str
    to_state: str
    decided: Shown = Field(description="When we knew.")
    who: str
    happening_id: str | None
    facts: dict[str, Any]


class Alarms(Answered):
    """Alarms now, and the told ledger of a span."""

    alarms: list[Alarm]
    told: list[Told] = Field(description="Newest first.")
    more: bool = Field(description="The span holds more lines than the limit: ask for a shorter one.")


class AnswerAsked(Asked):
    """What a person answers."""

    person_id: PersonId
    word: Literal["going", "cannot", "out", "fixed", "probe"]


class AnswerTaken(Answered):
    """An answer that was taken."""

    room_id: str
    person_id: str
    word: str
    at: Shown
    happening_id: str | None = Field(description="Null for out, where the person was only working there.")


@router.get("/alarms", summary="Alarms now, and what was told", responses=declared(404))
async def get_alarms(
    desk: AtDesk,
    span: AskedSpan,
    *,
    open_: Annotated[
        bool | None, Query(alias="open", description="Only alarms beyond their limit now (true), or the others.")
    ] = None,
    room: Annotated[RoomId | None, Query()] = None,
    limit: AskedLimit = MOST_ROWS,
) -> Alarms:
    async with desk.database.read() as connection:
        if room is not None:
            await rooms.room(connection, desk.farm_id, room)
        present = await views.present_alarms(connection, desk.farm_id, room)
        told = await views.told_between(
            connection, desk.farm_id, from_ms=span.from_ms, to_ms=span.to_ms, limit=limit + 1, room_id=room
        )
    shown = [alarm_of(row) for row in present if open_ is None or is_open(row["state"]) == open_]
    return Alarms(alarms=shown, told=[_told(row) for row in told[:limit]], more=len(told) > limit)


@router.post(
    "/rooms/{room_id}/answers",
    status_code=201,
    summary="Answer for a room",
    description=(
        '"going" stops further telling, as "fixed" and "probe" do; after "cannot" the next person is told. "out" '
        "ends going and working there, also when what was wrong is over by then. Whoever goes: do not go in alone "
        "where CO2 is high, air out from outside, and measure with a meter at the door."
    ),
    responses=declared(404, 409),
)
async def post_answer(desk: AtDesk, room_id: RoomId, asked: AnswerAsked) -> AnswerTaken:
    now_ms, word = desk.clock.now_ms(), Word(asked.word)
    happening_id: str | None
    if word is Word.OUT:
        happening_id = await come_out_of(desk, room_id=room_id, person_id=asked.person_id, way="api")
    else:
        happening_id = await answer(
            desk.database,
            desk.farm_id,
            room_id=room_id,
            person_id=asked.person_id,
            word=word,
            way="api",
            now_ms=now_ms,
        )
    return AnswerTaken(
        room_id=room_id, person_id=asked.person_id, word=asked.word, at=now_ms, happening_id=happening_id
    )


def alarm_of(row: Record) -> Alarm:
    """An alarm as it is shown."""
    return Alarm(
        room_id=row["room_id"],
        quantity=row["quantity"],
        side=row["side"],
        open=is_open(row["state"]),
        state=SPOKEN.get(row["state"], row["state"]),
        since=row["since_ms"],
        happening_id=row["happening_id"],
    )


def _told(row: Record) -> Told:
    same = ("room_id", "quantity", "side", "happens", "from_state", "to_state", "who", "happening_id", "facts")
    plain: dict[str, Any] = {name: row[name] for name in same}
    return Told(**plain, at=row["at_ms"], decided=row["decided_ms"])
