"""Rotas: whose turn it is, who swapped, who is away, and when nobody would have the turn."""

from __future__ import annotations

from typing import Annotated, Final, TypeAlias
from uuid import uuid4

from fastapi import APIRouter, Path, Query
from pydantic import Field, model_validator

from rules.model import DAY_MS
from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, Name, Note, PersonId, RotaId, Who
from service.api.moments import Moment, Shown
from service.api.problems import declared
from service.errors import NotAllowed, NotUnderstood
from service.log import log
from service.storage import people, rota
from service.storage.database import Connection
from service.storage.rows import Record
from service.watch.desk import Desk
from service.watch.rota_gaps import gap_sentence, rota_gaps
from service.watch.set_up import can_be_told
from service.watch.turns import LONGEST_TURN_MINUTES, MOST_TURNS, SHORTEST_TURN_MINUTES, check_turn

router = APIRouter(tags=["rota"])

LONGEST_SWAP_MS: Final = 62 * DAY_MS
LONGEST_ABSENCE_MS: Final = 400 * DAY_MS
MOST_ROTAS: Final = 20
RowId: TypeAlias = Annotated[str, Path(pattern=r"^[0-9a-f]{1,64}$")]
ByWhom: TypeAlias = Annotated[Who, Query()]


class RotaAsked(Asked):
    """A rota."""

    name: Name
    who: Who


class TurnAsked(Asked):
    """Turns of one person."""

    person_id: PersonId
    starts: Annotated[str, Field(max_length=20)] = Field(
        description="When the first turn begins, on the farm's clock, such as 2026-10-26T20:00."
    )
    minutes: Annotated[int, Field(ge=SHORTEST_TURN_MINUTES, le=LONGEST_TURN_MINUTES)] = Field(
        description="Until the farm's clock shows so much more, also when clocks change in between."
    )
    repeats: Annotated[str, Field(max_length=200)] = Field(
        description="Recurrence rule of RFC 5545, such as FREQ=WEEKLY;INTERVAL=2;BYDAY=MO; empty: once."
    )
    who: Who


class SpanAsked(Asked):
    """A time from one moment until another."""

    from_: Moment = Field(alias="from")
    until: Moment

    @model_validator(mode="after")
    def _in_order(self) -> SpanAsked:
        if self.until <= self.from_:
            raise ValueError("it ends before it begins")
        return self


class SwapAsked(SpanAsked):
    """Somebody takes the turn of a rota for a time."""

    person_id: PersonId
    who: Who


class AbsenceAsked(SpanAsked):
    """Somebody is away for a time."""

    instead: PersonId | None = Field(description="Who stands in; null: nobody, and the next on the list moves up.")
    why: Note
    who: Who


class EndAsked(Asked):
    """Somebody ends it before its time."""

    who: Who


class Turn(Answered):
    """Turns of one person."""

    turn_id: str
    person_id: str
    starts: str
    minutes: int
    repeats: str
    recorded: Shown
    who: str


class Swap(Answered):
    """Somebody has the turn of a rota for a time."""

    swap_id: str
    rota_id: str
    person_id: str
    from_: Shown = Field(serialization_alias="from")
    until: Shown
    ended: Shown | None = Field(description="When somebody ended it before.")
    recorded: Shown
    who: str


class Absence(Answered):
    """Somebody is away for a time."""

    absence_id: str
    person_id: str
    from_: Shown = Field(serialization_alias="from")
    until: Shown
    instead: str | None
    why: str
    ended: Shown | None = Field(description="When somebody ended it before.")
    recorded: Shown
    who: str


class Gap(Answered):
    """A time in which nobody would have the turn."""

    from_: Shown = Field(serialization_alias="from")
    until: Shown
    said: str = Field(description="In words, on the farm's clock.")


class Rota(Answered):
    """A rota with what is written down of it."""

    rota_id: str
    name: str
    turns: list[Turn]
    swaps: list[Swap] = Field(description="Those that are not over.")
    gaps: list[Gap] = Field(description="In the next 14 days.")
    recorded: Shown
    who: str


class Dropped(Answered):
    """What was removed."""

    dropped: str


@router.get("/rotas", summary="Every rota, with its turns, swaps and gaps", responses=declared())
async def get_rotas(desk: AtDesk) -> list[Rota]:
    async with desk.database.read() as connection:
        return [await _rota(connection, desk, row) for row in await rota.all_rotas(connection, desk.farm_id)]


@router.put("/rotas/{rota_id}", summary="Add a rota, or give it another name", responses=declared(409))
async def put_rota(desk: AtDesk, rota_id: RotaId, asked: RotaAsked) -> Rota:
    row = {"rota_id": rota_id, "name": asked.name, "recorded_ms": desk.clock.now_ms(), "who": asked.who}
    async with changing(desk) as connection:
        there = {known["rota_id"] for known in await rota.all_rotas(connection, desk.farm_id)}
        if rota_id not in there and len(there) >= MOST_ROTAS:
            raise NotAllowed(f"there are {MOST_ROTAS} rotas already: drop one first")
        await rota.save_rota(connection, desk.farm_id, row)
        return await _rota(connection, desk, row)


@router.delete("/rotas/{rota_id}", summary="Remove a rota that no call list names", responses=declared(404, 409))
async def delete_rota(desk: AtDesk, rota_id: RotaId, who: ByWhom) -> Dropped:
    async with changing(desk) as connection:
        await rota.drop_rota(connection, desk.farm_id, rota_id)
    log.info("rota dropped", rota=rota_id, who=who)
    return Dropped(dropped=rota_id)


@router.put(
    "/rotas/{rota_id}/turns/{turn_id}",
    summary="Give somebody turns, or change them from now on",
    description="Of turns that overlap, the one that began last counts.",
    responses=declared(404, 409),
)
async def put_turn(desk: AtDesk, rota_id: RotaId, turn_id: RotaId, asked: TurnAsked) -> Rota:
    check_turn(asked.starts, asked.minutes, asked.repeats)
    values = {
        "rota_id": rota_id,
        "turn_id": turn_id,
        "person_id": asked.person_id,
        "starts_local": asked.starts,
        "minutes": asked.minutes,
        "rrule": asked.repeats,
        "recorded_ms": desk.clock.now_ms(),
        "who": asked.who,
    }
    async with changing(desk) as connection:
        row = await rota.rota(connection, desk.farm_id, rota_id)
        await _can_take_a_turn(connection, desk.farm_id, asked.person_id)
        there = {turn["turn_id"] for turn in await rota.turns_of(connection, desk.farm_id, rota_id)}
        if turn_id not in there and len(there) >= MOST_TURNS:
            raise NotAllowed(f"a rota has at most {MOST_TURNS} turns: let one repeat instead")
        await rota.save_turn(connection, desk.farm_id, values)
        return await _rota(connection, desk, row)


@router.delete("/rotas/{rota_id}/turns/{turn_id}", summary="Take turns away", responses=declared(404))
async def delete_turn(desk: AtDesk, rota_id: RotaId, turn_id: RotaId, who: ByWhom) -> Rota:
    async with changing(desk) as connection:
        row = await rota.rota(connection, desk.farm_id, rota_id)
        await rota.drop_turn(connection, desk.farm_id, rota_id, turn_id)
        log.info("turn dropped", rota=rota_id, turn=turn_id, who=who)
        return await _rota(connection, desk, row)


@router.post(
    "/rotas/{rota_id}/swaps",
    status_code=201,
    summary="Somebody takes the turn of a rota for a time",
    description="It outweighs the turns of the rota, and counts for what happens from now on.",
    responses=declared(404, 409),
)
async def post_swap(desk: AtDesk, rota_id: RotaId, asked: SwapAsked) -> Swap:
    row = _lasting(desk, asked, LONGEST_SWAP_MS) | {
        "swap_id": uuid4().hex, "rota_id": rota_id, "person_id": asked.person_id, "who": asked.who
    }  # fmt: skip
    async with changing(desk) as connection:
        await rota.rota(connection, desk.farm_id, rota_id)
        await _can_take_a_turn(connection, desk.farm_id, asked.person_id)
        await rota.add_swap(connection, desk.farm_id, row)
    return _swap(row)


@router.post("/swaps/{swap_id}/end", summary="End a swap before its time", responses=declared(404, 409))
async def post_swap_end(desk: AtDesk, swap_id: RowId, asked: EndAsked) -> Swap:
    async with changing(desk) as connection:
        ended = await rota.end_swap(connection, desk.farm_id, swap_id, desk.clock.now_ms())
    log.info("swap ended", swap=swap_id, who=asked.who)
    return _swap(ended)


@router.get("/absences", summary="Who is away, now and later", responses=declared())
async def get_absences(desk: AtDesk) -> list[Absence]:
    now_ms = desk.clock.now_ms()
    async with desk.database.read() as connection:
        found = await rota.absences_since(connection, desk.farm_id, now_ms)
    return [_absence(row) for row in found if row["ended_ms"] is None or row["ended_ms"] > now_ms]


@router.post(
    "/people/{person_id}/absences",
    status_code=201,
    summary="Somebody is away for a time",
    description="It outweighs turns and swaps. Whoever stands in may be stood in for in turn.",
    responses=declared(404, 409),
)
async def post_absence(desk: AtDesk, person_id: PersonId, asked: AbsenceAsked) -> Absence:
    if asked.instead == person_id:
        raise NotUnderstood("nobody stands in for themself")
    row = _lasting(desk, asked, LONGEST_ABSENCE_MS) | {
        "absence_id": uuid4().hex, "person_id": person_id, "instead_id": asked.instead, "why": asked.why,
        "who": asked.who,
    }  # fmt: skip
    async with changing(desk) as connection:
        await people.person(connection, desk.farm_id, person_id)
        if asked.instead is not None:
            await _can_take_a_turn(connection, desk.farm_id, asked.instead)
        await rota.add_absence(connection, desk.farm_id, row)
    return _absence(row)


@router.post("/absences/{absence_id}/end", summary="Somebody is back before time", responses=declared(404, 409))
async def post_absence_end(desk: AtDesk, absence_id: RowId, asked: EndAsked) -> Absence:
    async with changing(desk) as connection:
        ended = await rota.end_absence(connection, desk.farm_id, absence_id, desk.clock.now_ms())
    log.info("absence ended", absence=absence_id, who=asked.who)
    return _absence(ended)


async def _can_take_a_turn(connection: Connection, farm_id: int, person_id: str) -> None:
    person = await people.person(connection, farm_id, person_id)
    if not person["active"]:
        raise NotAllowed(f"{person['name']} is with the farm no more")
    if not can_be_told(person):
        raise NotAllowed(f"{person['name']} could not be told: no phone and no e-mail is known")


def _lasting(desk: Desk, asked: SpanAsked, longest_ms: int) -> dict[str, object]:
    now_ms = desk.clock.now_ms()
    if asked.until <= now_ms:
        raise NotAllowed("that time is over already")
    if asked.until - asked.from_ > longest_ms:
        raise NotUnderstood(f"it takes at most {longest_ms // DAY_MS} days")
    return {"from_ms": asked.from_, "until_ms": asked.until, "ended_ms": None, "recorded_ms": now_ms}


async def _rota(connection: Connection, desk: Desk, row: Record) -> Rota:
    farm_id, now_ms, rota_id = desk.farm_id, desk.clock.now_ms(), row["rota_id"]
    gaps = await rota_gaps(connection, desk.farm, rota_id, from_ms=now_ms)
    swaps = await rota.swaps_since(connection, farm_id, now_ms)
    return Rota(
        rota_id=rota_id,
        name=row["name"],
        turns=[_turn(turn) for turn in await rota.turns_of(connection, farm_id, rota_id)],
        swaps=[_swap(swap) for swap in swaps if swap["rota_id"] == rota_id and swap["ended_ms"] is None],
        gaps=[Gap(from_=g.from_ms, until=g.until_ms, said=gap_sentence(g, desk.farm["zone"])) for g in gaps],
        recorded=row["recorded_ms"],
        who=row["who"],
    )


def _turn(row: Record) -> Turn:
    same = {name: row[name] for name in ("turn_id", "person_id", "minutes", "who")}
    return Turn(**same, starts=row["starts_local"], repeats=row["rrule"], recorded=row["recorded_ms"])


def _swap(row: Record) -> Swap:
    same = {name: row[name] for name in ("swap_id", "rota_id", "person_id", "who")}
    times = {"from_": row["from_ms"], "until": row["until_ms"], "ended": row["ended_ms"]}
    return Swap(**same, **times, recorded=row["recorded_ms"])


def _absence(row: Record) -> Absence:
    same = {name: row[name] for name in ("absence_id", "person_id", "why", "who")}
    times = {"from_": row["from_ms"], "until": row["until_ms"], "ended": row["ended_ms"]}
    return Absence(**same, **times, instead=row["instead_id"], recorded=row["recorded_ms"])
