"""Probes: what is heard, and where each hangs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from rules.model import SECOND_MS, UNIT, Quantity
from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, Note, ProbeName, RoomId, Who
from service.api.moments import Moment, Shown
from service.api.problems import declared
from service.log import log
from service.storage import people_air, rooms, silences
from service.storage.database import Connection
from service.storage.rows import Record
from service.storage.spans import Kept, newest_values
from service.watch.hearing import usual_intervals
from service.watch.moving import not_ahead

router = APIRouter(prefix="/probes", tags=["probes"])


class Value(Answered):
    """The newest value of a quantity."""

    quantity: str
    value: float
    unit: str | None = Field(description="As SenML writes it; none for a contact, which is 1 (on) or 0 (off).")
    at: Shown = Field(description="When it was measured.")


class Probe(Answered):
    """A probe, where it hangs and what it last said."""

    probe_id: str
    room_id: str | None = Field(description="None while the probe waits to be placed.")
    place: str | None
    placed_from: Shown | None
    first_heard: Shown
    last_heard: Shown | None = Field(description="By our clock; none for a probe that was placed and never heard.")
    co2_top_ppm: float | None = Field(
        description="It reads no higher: a value there counts as at least that much. None: not known."
    )
    co2_top_by: str | None = Field(description="Who said so last.")
    gateway: str | None = Field(description="Through which gateway it is heard, where that is known.")
    usual_interval_s: float | None = Field(
        description="How often it is usually heard: the median of late. None: not known, or a contact."
    )
    silent_since: Shown | None = Field(description="Not heard since then, for longer than it may be.")
    newest: list[Value]


class Through(Asked):
    """Through which gateway a probe is heard."""

    gateway: Annotated[str, Field(min_length=1, max_length=64)] | None = Field(
        description="Its name on the farm. None: through none of its own. A topic that names one overrules this."
    )
    who: Who


class Top(Asked):
    """How far a probe reads."""

    co2_top_ppm: Annotated[float, Field(ge=1000, le=1_000_000)] | None = Field(
        description="From the probe's data sheet. None: not known."
    )
    who: Who


class Placement(Asked):
    """Where a probe hangs from a moment on."""

    room_id: RoomId | None = Field(description="None takes the probe out of its room.")
    place: Note = ""
    from_ms: Moment | None = Field(default=None, alias="from", description="Now, if absent.")
    who: Who


class Placed(Answered):
    """Where a probe was put."""

    probe_id: str
    room_id: str | None
    place: str
    since: Shown
    who: str


def value_of(kept: Kept) -> Value:
    """A reading as the newest value of its quantity."""
    unit = UNIT.get(Quantity(kept.quantity))
    return Value(quantity=kept.quantity, value=kept.value, unit=unit, at=kept.at_ms)


@router.get("", summary="Every probe that was heard or placed", responses=declared())
async def get_probes(
    desk: AtDesk,
    *,
    waiting: Annotated[
        bool | None, Query(description="Only those that wait to be placed (true), or only those placed (false).")
    ] = None,
) -> list[Probe]:
    async with desk.database.read() as connection:
        rows = await rooms.all_probes(connection, desk.farm_id)
        asked = [row for row in rows if waiting is None or (row["room_id"] is None) == waiting]
        newest = await newest_values(connection, desk.farm_id, {row["probe_id"] for row in asked})
        hearing = await _hearing(connection, desk.farm_id, asked)
    return [_probe(row, by_probe(newest), hearing) for row in asked]


@router.post(
    "/{probe_id}/placements",
    status_code=201,
    summary="Put a probe in a room, or take it out",
    description="From the moment given on; earlier placements stay as they were written down.",
    responses=declared(404, 409),
)
async def post_placement(desk: AtDesk, probe_id: ProbeName, asked: Placement) -> Placed:
    now_ms = desk.clock.now_ms()
    from_ms = not_ahead(asked.from_ms, now_ms)
    values = {
        "probe_id": probe_id,
        "room_id": asked.room_id,
        "place": asked.place,
        "valid_from_ms": from_ms,
        "recorded_ms": now_ms,
        "who": asked.who,
    }
    async with changing(desk) as connection:
        await rooms.place_probe(connection, desk.farm_id, values)
    return Placed(probe_id=probe_id, room_id=asked.room_id, place=asked.place, since=from_ms, who=asked.who)


@router.put(
    "/{probe_id}/top",
    summary="Say how far a probe reads",
    description=(
        "A CO2 probe that has reached the end of its range cannot say how much more there is: people in the room "
        "are told of it as 'at least'. Do not trust the number inside; measure with a meter at the door."
    ),
    responses=declared(404),
)
async def put_top(desk: AtDesk, probe_id: ProbeName, asked: Top) -> Probe:
    async with changing(desk) as connection:
        top_ppm, now_ms = asked.co2_top_ppm, desk.clock.now_ms()
        await people_air.set_top(connection, desk.farm_id, probe_id, top_ppm, who=asked.who, at_ms=now_ms)
        return await _one(connection, desk.farm_id, probe_id)


@router.put(
    "/{probe_id}/gateway",
    summary="Say through which gateway a probe is heard",
    description="All probes behind a gateway that falls silent are told as one.",
    responses=declared(404),
)
async def put_gateway(desk: AtDesk, probe_id: ProbeName, asked: Through) -> Probe:
    async with changing(desk) as connection:
        await silences.set_gateway(connection, desk.farm_id, probe_id, asked.gateway)
        log.info("gateway of a probe set", probe=probe_id, gateway=asked.gateway, who=asked.who)
        return await _one(connection, desk.farm_id, probe_id)


async def _one(connection: Connection, farm_id: int, probe_id: str) -> Probe:
    rows = await rooms.all_probes(connection, farm_id)
    row = next(row for row in rows if row["probe_id"] == probe_id)
    newest = await newest_values(connection, farm_id, {probe_id})
    return _probe(row, by_probe(newest), await _hearing(connection, farm_id, [row]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """What is known of hearing probes."""

    usual_ms: Mapping[str, int]
    silent_since_ms: Mapping[str, int]


async def _hearing(connection: Connection, farm_id: int, rows: Iterable[Record]) -> Hearing:
    """What is known of hearing these probes, as far as they hang somewhere."""
    placed = [row["probe_id"] for row in rows if row["room_id"] is not None]
    silent = await silences.open_silences(connection, farm_id)
    since = {name: row.since_ms for row in silent for name in row.facts.get("probes", []) if row.scope != "room"}
    return Hearing(usual_ms=await usual_intervals(connection, farm_id, placed), silent_since_ms=since)


def by_probe(newest: Iterable[Kept]) -> dict[str, list[Kept]]:
    """Newest readings, sorted out by probe."""
    found: dict[str, list[Kept]] = {}
    for kept in newest:
        found.setdefault(kept.probe, []).append(kept)
    return found


def _probe(row: Record, newest: Mapping[str, list[Kept]], hearing: Hearing) -> Probe:
    usual_ms = hearing.usual_ms.get(row["probe_id"])
    return Probe(
        probe_id=row["probe_id"],
        room_id=row["room_id"],
        place=row["place"],
        placed_from=row["valid_from_ms"],
        first_heard=row["first_heard_ms"],
        last_heard=row["last_heard_ms"] or None,
        co2_top_ppm=row["co2_top_ppm"],
        co2_top_by=row["co2_top_who"],
        gateway=row["gateway"],
        usual_interval_s=None if usual_ms is None else usual_ms / SECOND_MS,
        silent_since=hearing.silent_since_ms.get(row["probe_id"]),
        newest=[value_of(kept) for kept in newest.get(row["probe_id"], [])],
    )
