"""The farm itself."""

from __future__ import annotations

from typing import Annotated, Any, TypeAlias

from fastapi import APIRouter
from pydantic import AfterValidator, Field, model_validator

from rules.model import Instant
from service.api.access import AtDesk, changing
from service.api.clock_change import clock_change_remarks
from service.api.fields import Answered, Asked, Language, Name, Note, UnitsName, Who
from service.api.problems import declared
from service.localtime import zone_exists
from service.storage import rooms

router = APIRouter(prefix="/farm", tags=["farm"])

Clock: TypeAlias = Annotated[
    str, Field(pattern=r"^([01][0-9]|2[0-3]):[0-5][0-9]$", description="The farm's clock, such as 06:00.")
]


def _zone(name: str) -> str:
    if not zone_exists(name):
        raise ValueError("not an IANA time zone, such as America/New_York")
    return name


class FarmChange(Asked):
    """All that can be said of a farm."""

    name: Name
    place: Note
    zone: Annotated[str, Field(min_length=1, max_length=60), AfterValidator(_zone)]
    altitude_m: Annotated[float, Field(ge=-430, le=6000)]
    units: UnitsName
    language: Language
    room_word: Annotated[Name, Field(max_length=20, description="What the farm calls a room.")]
    invented: bool = Field(description="Every page and text says so.")
    morning_round: Clock
    evening_round: Clock
    who: Who

    @model_validator(mode="after")
    def _rounds(self) -> FarmChange:
        if self.morning_round >= self.evening_round:
            raise ValueError("the morning round comes before the evening round")
        return self


class Farm(Answered):
    """What is known of the farm."""

    slug: str = Field(description="Its name on the wire.")
    name: str
    place: str
    zone: str
    altitude_m: float
    units: str
    language: str
    room_word: str
    invented: bool
    morning_round: str
    evening_round: str
    who: str = Field(description="Who last changed this.")
    remarks: list[str] = Field(description="What was taken, and should be thought over.")


@router.get("", summary="What is known of the farm", responses=declared())
async def get_farm(desk: AtDesk) -> Farm:
    return _farm(desk.farm, desk.clock.now_ms())


@router.put("", summary="Change what is known of the farm", responses=declared())
async def put_farm(desk: AtDesk, change: FarmChange) -> Farm:
    values: dict[str, Any] = {
        **change.model_dump(exclude={"morning_round", "evening_round"}),
        "invented": int(change.invented),
        "morning_round_minute": _minute(change.morning_round),
        "evening_round_minute": _minute(change.evening_round),
    }
    async with changing(desk) as connection:
        await rooms.change_farm(connection, desk.farm_id, values)
    desk.farm.update(values)
    return _farm(desk.farm, desk.clock.now_ms())


def _farm(row: dict[str, Any], now_ms: Instant) -> Farm:
    same = ("slug", "name", "place", "zone", "altitude_m", "units", "language", "room_word", "who")
    return Farm(
        **{name: row[name] for name in same},
        invented=bool(row["invented"]),
        morning_round=_clock(row["morning_round_minute"]),
        evening_round=_clock(row["evening_round_minute"]),
        remarks=_remarks(row, now_ms),
    )


def _remarks(row: dict[str, Any], now_ms: Instant) -> list[str]:
    """Rounds within an hour that clocks leave out or repeat."""
    return [
        remark
        for name in ("morning", "evening")
        for remark in clock_change_remarks(row, f"the {name} round", row[f"{name}_round_minute"], now_ms)
    ]


def _minute(clock: str) -> int:
    hours, minutes = clock.split(":")
    return int(hours) * 60 + int(minutes)


def _clock(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"
