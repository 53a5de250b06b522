"""Checks of probes against a reference: that one was made, and how often they should be."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter
from pydantic import Field

from rules.model import Instant
from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, ProbeName, Who
from service.api.moments import Moment, Shown
from service.api.problems import declared
from service.errors import NotUnderstood
from service.storage import probe_checks, rooms
from service.storage.database import Connection
from service.watch.moving import AHEAD_ALLOWED_MS

router = APIRouter(prefix="/probes", tags=["probes"])


class CheckAsked(Asked):
    """Somebody checked a probe."""

    at: Moment | None = Field(default=None, description="Now, if absent.")
    who: Who


class CheckEvery(Asked):
    """How often a probe should be checked."""

    days: Annotated[int, Field(ge=1, le=3650)] | None = Field(description="None: nobody asks for checks.")


class Checks(Answered):
    """How a probe stands with its checks."""

    probe_id: str
    checked: Shown | None = Field(description="None: never, as far as was written down.")
    checked_by: str | None
    every_days: int | None
    due: Shown | None = Field(description="None while nobody asks for checks.")
    is_due: bool


@router.post(
    "/{probe_id}/checks", status_code=201, summary="Say that a probe was checked", responses=declared(404)
)
async def post_check(desk: AtDesk, probe_id: ProbeName, asked: CheckAsked) -> Checks:
    now_ms = desk.clock.now_ms()
    at_ms = now_ms if asked.at is None else asked.at
    if at_ms > now_ms + AHEAD_ALLOWED_MS:
        raise NotUnderstood("that moment lies ahead: write a check down when it is made")
    async with changing(desk) as connection:
        await probe_checks.set_checked(connection, desk.farm_id, probe_id, who=asked.who, at_ms=at_ms)
        return await _checks(connection, desk.farm_id, probe_id, now_ms)


@router.put("/{probe_id}/check-every", summary="Say how often a probe should be checked", responses=declared(404))
async def put_check_every(desk: AtDesk, probe_id: ProbeName, asked: CheckEvery) -> Checks:
    async with changing(desk) as connection:
        await probe_checks.set_check_every(connection, desk.farm_id, probe_id, asked.days)
        return await _checks(connection, desk.farm_id, probe_id, desk.clock.now_ms())


async def _checks(connection: Connection, farm_id: int, probe_id: str, now_ms: Instant) -> Checks:
    row = next(row for row in await rooms.all_probes(connection, farm_id) if row["probe_id"] == probe_id)
    due_ms = probe_checks.due_ms(row)
    return Checks(
        probe_id=probe_id,
        checked=row["checked_ms"],
        checked_by=row["checked_who"],
        every_days=row["check_every_days"],
        due=due_ms,
        is_due=due_ms is not None and due_ms <= now_ms,
    )
