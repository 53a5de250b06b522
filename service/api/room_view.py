"""One room as it is now: values, crops, limits, alarms."""

from __future__ import annotations

from pydantic import Field

from rules.model import MINUTE_MS, Instant, Quantity, Side
from service.api.air import AirHere, air_here
from service.api.alarms import Alarm, alarm_of
from service.api.fields import Answered
from service.api.holds import HeldBack, on_at
from service.api.moments import Shown
from service.api.people_limits import PeopleHere, entry_cautions, people_here
from service.api.probes import Value, by_probe, value_of
from service.localtime import stage_day
from service.reports.night import Books
from service.reports.night_facts import air_of_room
from service.reports.people_air import people_air_of
from service.storage import rooms, views
from service.storage.database import Connection
from service.storage.holds import holds_of
from service.storage.rows import Record
from service.storage.spans import Kept, newest_values
from service.watch.desk import Desk
from service.watch.room_now import Crop, RoomLimit, is_open, room_now
from service.watch.room_now import RoomNow as Present


class ProbeHere(Answered):
    """A probe that hangs in the room."""

    probe_id: str
    place: str
    since: Shown
    newest: list[Value] = Field(description="Measured here; nothing from before the probe came.")


class CropHere(Answered):
    """A batch in the room, at its stage."""

    batch_id: str
    profile: str
    version: int
    label: str
    stage: str
    stage_since: Shown
    stage_day: int = Field(description="The first calendar day is day 1.")
    wakes: bool = Field(description="False in the room's first days, and while nobody stands for the figures.")


class LimitHere(Answered):
    """A text limit in force."""

    quantity: str
    side: str
    limit: float
    wait_minutes: float
    recover_margin: float
    recover_minutes: float
    far_limit: float | None
    far_wait_minutes: float | None
    usual: float | None = Field(
        description="What the room usually shows at this hour, where the limit hangs on it."
    )
    held_until: Shown | None = Field(description="Until then it is judged, and nobody is told.")
    held_why: str | None
    set_by_batch: str = Field(description="The tenderest: the one whose limit is reached first.")
    wakes: bool


class RoomNow(Answered):
    """A room now."""

    room_id: str
    name: str
    text_name: str
    kind: str
    first_days_end: Shown
    probes: list[ProbeHere]
    air: AirHere | None = Field(description="None while temperature or humidity is not known.")
    crops: list[CropHere]
    limits: list[LimitHere]
    held_back: list[HeldBack] = Field(description="Who works here, and what is left until when.")
    open_alarms: list[Alarm]
    people: PeopleHere | None = Field(description="None where CO2 was never heard.")
    air_out_before_entry: bool = Field(
        description="A CO2 limit for people is passed, or a stage here is grown above it on purpose."
    )
    cautions: list[str] = Field(description="What to mind before going in.")
    judged_until: Shown | None


async def look_at(connection: Connection, desk: Desk, room_id: str) -> RoomNow:
    """Put together all that is known of a room now."""
    farm_id, now_ms = desk.farm_id, desk.clock.now_ms()
    room = await rooms.room(connection, farm_id, room_id)
    present = await room_now(connection, farm_id, room, catalogue=desk.catalogue, now_ms=now_ms)
    alarms = await views.present_alarms(connection, farm_id, room_id)
    people = await people_air_of(connection, desk.farm, room_id)
    passed = people is not None and bool(people.passed)
    air_out = passed or any(crop.stage.above_people_limit for crop in present.crops)
    return RoomNow(
        room_id=room_id,
        name=room["name"],
        text_name=room["text_name"],
        kind=room["kind"],
        first_days_end=room["first_days_end_ms"],
        probes=await _probes(connection, farm_id, room_id),
        air=await _air(connection, desk, room_id),
        crops=[_crop(crop, stage_day(crop.stage_since_ms, now_ms, desk.farm["zone"])) for crop in present.crops],
        limits=[
            _limit(*key, held, *_hold_of(present, key)) for key, held in sorted(present.limits.limits.items())
        ],
        held_back=on_at(desk, await holds_of(connection, farm_id, room_id, from_ms=now_ms), now_ms),
        open_alarms=[alarm_of(alarm) for alarm in alarms if is_open(alarm["state"])],
        people=None if people is None else people_here(people),
        air_out_before_entry=air_out,
        cautions=entry_cautions(desk.farm["room_word"]) if air_out else [],
        judged_until=await views.judged_until(connection, farm_id, room_id),
    )


async def _air(connection: Connection, desk: Desk, room_id: str) -> AirHere | None:
    books = Books(connection=connection, farm=desk.farm, profiles=desk.catalogue)
    air = await air_of_room(books, room_id, desk.clock.now_ms())
    return None if air is None else air_here(air)


async def _probes(connection: Connection, farm_id: int, room_id: str) -> list[ProbeHere]:
    placed = [p for p in await rooms.placements_in(connection, farm_id, room_id) if p["valid_to_ms"] is None]
    newest = by_probe(await newest_values(connection, farm_id, {p["probe_id"] for p in placed}))
    return [_probe(placement, newest.get(placement["probe_id"], [])) for placement in placed]


def _probe(placement: Record, newest: list[Kept]) -> ProbeHere:
    since_ms = placement["valid_from_ms"]
    return ProbeHere(
        probe_id=placement["probe_id"],
        place=placement["place"],
        since=since_ms,
        newest=[value_of(kept) for kept in newest if kept.at_ms >= since_ms],
    )


def _crop(crop: Crop, day: int) -> CropHere:
    return CropHere(
        batch_id=crop.batch,
        profile=crop.profile.name,
        version=crop.profile.version,
        label=crop.profile.label,
        stage=crop.stage.name,
        stage_since=crop.stage_since_ms,
        stage_day=day,
        wakes=crop.wakes,
    )


def _hold_of(present: Present, key: tuple[Quantity, Side]) -> tuple[Instant | None, str | None]:
    """Until when a limit is held back, and why."""
    hold = present.limits.holds.get(key)
    return (None, None) if hold is None else (hold.until_ms, hold.why.value)


def _limit(
    quantity: Quantity, side: Side, held: RoomLimit, until_ms: Instant | None, why: str | None
) -> LimitHere:
    return LimitHere(
        quantity=quantity.value,
        side=side.value,
        limit=held.near.limit,
        wait_minutes=held.near.wait_ms / MINUTE_MS,
        recover_margin=held.near.recover_margin,
        recover_minutes=held.near.recover_ms / MINUTE_MS,
        far_limit=None if held.far is None else held.far.limit,
        far_wait_minutes=None if held.far is None else held.far.wait_ms / MINUTE_MS,
        usual=held.usual,
        held_until=until_ms,
        held_why=why,
        set_by_batch=held.crop.batch,
        wakes=held.crop.wakes,
    )
