"""The farm's own figures for telling people: each with its bounds, and who set it when."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated

from fastapi import APIRouter, Path
from pydantic import Field

from service.api.access import AtDesk, changing
from service.api.clock_change import clock_change_remarks
from service.api.fields import Answered, Asked, Who
from service.api.moments import Shown
from service.api.problems import declared
from service.log import log
from service.storage.database import Connection
from service.storage.figures import LEAST_AND_MOST, Figures, FigureSet, figures_set, set_figure
from service.watch.desk import Desk

router = APIRouter(tags=["figures"])


class FigureAsked(Asked):
    """A figure from now on."""

    value: Annotated[float, Field(ge=0, le=1_000_000)]
    who: Who


class Figure(Answered):
    """A figure that the farm may set."""

    name: str = Field(description="With its unit.")
    value: float
    default: float
    least: float
    most: float
    who: str | None = Field(description="Who set it; null: nobody, the default holds.")
    recorded: Shown | None
    remarks: list[str] = Field(description="What was taken, and should be thought over.")


@router.get("/figures", summary="Every figure, with its bounds and who set it", responses=declared())
async def get_figures(desk: AtDesk) -> list[Figure]:
    async with desk.database.read() as connection:
        newest = await _newest(connection, desk.farm_id)
    return [_figure(desk, field.name, newest.get(field.name)) for field in fields(Figures)]


@router.put("/figures/{name}", summary="Set a figure from now on", responses=declared(404))
async def put_figure(
    desk: AtDesk, name: Annotated[str, Path(pattern=r"^[a-z_]{1,40}$")], asked: FigureAsked
) -> Figure:
    async with changing(desk) as connection:
        now_ms = desk.clock.now_ms()
        await set_figure(connection, desk.farm_id, name, asked.value, who=asked.who, now_ms=now_ms)
        newest = await _newest(connection, desk.farm_id)
    log.info("figure set", name=name, value=asked.value, who=asked.who)
    return _figure(desk, name, newest[name])


async def _newest(connection: Connection, farm_id: int) -> dict[str, FigureSet]:
    return {row.name: row for row in await figures_set(connection, farm_id)}


def _figure(desk: Desk, name: str, newest: FigureSet | None) -> Figure:
    default = float(getattr(Figures(), name))
    value = default if newest is None else newest.value
    is_time = name.endswith("_minute")
    least, most = LEAST_AND_MOST[name]
    return Figure(
        name=name,
        value=value,
        default=default,
        least=least,
        most=most,
        who=None if newest is None else newest.who,
        recorded=None if newest is None else newest.recorded_ms,
        remarks=clock_change_remarks(desk.farm, name, round(value), desk.clock.now_ms()) if is_time else [],
    )
