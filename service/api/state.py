"""The state of the service for machines that look after machines: honest, and bad news first."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Response
from pydantic import Field

from rules.model import FIRST_INSTANT, MINUTE_MS, Instant
from service.api.access import AtDesk
from service.api.fields import Answered
from service.api.moments import Shown
from service.api.problems import declared
from service.api.trial import WITHIN_S, Trial, Tried
from service.api.versions import houseband_version
from service.localtime import zone_data_version
from service.storage.rows import Record
from service.storage.silences import SilenceRow
from service.watch.alive import (
    OUTSIDE,
    OUTSIDE_ANSWERED,
    TickRun,
    is_stuck,
    is_sweep_stale,
    is_turned_down,
    tick_runs,
)
from service.watch.desk import Desk

DEAF_TOO_LONG_MS: Final = 5 * MINUTE_MS
TELLING_OVERDUE_MS: Final = 10 * MINUTE_MS
_OWN_PULSES: Final = ("tick ", "outside watch", "state asked", "alive")
"""Pulses that have a place of their own in the state, or none."""


class DatabaseState(Answered):
    """What the database could do just now, by a real write and read."""

    kind: str
    writable: bool
    readable: bool
    trouble: str | None
    revision: str | None
    revision_needed: str | None


class BrokerState(Answered):
    """Whether we listen."""

    set_up: bool = Field(description="False: readings come by HTTP only.")
    heard: Shown | None = Field(description="When the broker was last heard, by our clock.")
    listening: bool = Field(description="Everything the broker had for us is recorded.")
    not_listening_since: Shown | None = Field(
        description="None as well while the broker has not been heard out since the start."
    )


class SweepState(Answered):
    """Whether rooms are judged."""

    last: Shown | None = Field(description="When all rooms had last been gone round.")
    stale: bool


class TellingState(Answered):
    """Whether people are told."""

    ways: list[str] = Field(description="The ways that are set up.")
    waiting: int = Field(description="Tellings that wait to go out.")
    oldest_due: Shown | None = Field(description="When the longest waiting one should have gone out.")
    overdue: bool
    moving: bool = Field(description="False while something is due and nobody tries to send it.")


class TickState(Answered):
    """One regular task."""

    name: str
    last: Shown = Field(description="When it last went through without trouble.")
    every_s: float
    stale: bool = Field(description="It has not gone through for several of its intervals.")


class SchedulerState(Answered):
    """Whether what happens by itself goes on happening."""

    stale: bool
    ticks: list[TickState]


class PulseState(Answered):
    """A part that says by itself that it is alive, such as what fetches answers or the modem."""

    part: str
    last: Shown
    detail: str


class OutsideState(Answered):
    """The call to whatever watches over us from off the farm."""

    last_answered: Shown | None = Field(
        description="The last call that was answered; none if there never was one."
    )
    last_try: Shown | None
    result: str | None = Field(description="What came of the last try, or why none was made.")


class SilentNow(Answered):
    """Something that is not heard."""

    scope: str = Field(description="probe, room, gateway, site, broker or houseband.")
    name: str
    since: Shown
    told: Shown | None = Field(description="When people were told; none: for the round sheet only.")


class Versions(Answered):
    """What is running."""

    houseband: str
    zone_data: str


class State(Answered):
    """The state of the service. ``well`` is false, and the status 503, while there are troubles."""

    well: bool
    troubles: list[str] = Field(
        description="What keeps a reading from being kept or judged, or people from being told."
    )
    remarks: list[str] = Field(description="What somebody should look at.")
    now: Shown = Field(description="The farm's present.")
    clock_factor: float = Field(description="1, except in a demonstration.")
    database: DatabaseState
    broker: BrokerState
    messages_waiting: int = Field(description="Received and not yet recorded.")
    sweep: SweepState
    telling: TellingState
    scheduler: SchedulerState
    pulses: list[PulseState]
    outside_watch: OutsideState
    silences: list[SilentNow]
    versions: Versions


def make_router() -> APIRouter:
    """A router with a trial of its own."""
    router = APIRouter(prefix="/state", tags=["state"])
    trial = Trial()

    @router.get(
        "",
        summary="Whether all is well",
        responses={**declared(), 503: {"description": "Not well; the same body says why.", "model": State}},
    )
    async def get_state(desk: AtDesk, response: Response) -> State:
        found = look(desk, await trial.within(WITHIN_S, desk))
        response.status_code = 200 if found.well else 503
        response.headers["Cache-Control"] = "no-store"
        return found

    return router


def look(desk: Desk, tried: Tried) -> State:
    """Put together what is known, and judge it."""
    now_ms, wall = desk.clock.now_ms(), desk.clock.factor
    deaf_ms = desk.horizon.not_listening_since_ms
    last_ms = desk.sweep.last_ms
    stale = is_sweep_stale(desk, now_ms)
    stuck = is_stuck(desk, tried.untried_ms, now_ms)
    runs = tick_runs(desk, tried.pulses, now_ms)
    overdue = tried.oldest_due_ms is not None and now_ms - tried.oldest_due_ms > TELLING_OVERDUE_MS
    deaf_too_long = deaf_ms is not None and now_ms - deaf_ms > DEAF_TOO_LONG_MS * wall
    troubles = _troubles(tried, stale=stale, deaf_too_long=deaf_too_long, just_started=deaf_ms == FIRST_INSTANT)
    troubles += _troubles_of_tasks(runs, stuck=stuck, turned_down=is_turned_down(tried.turned_down_ms, now_ms))
    return State(
        well=not troubles,
        troubles=troubles,
        remarks=_remarks(desk, overdue=overdue, watched=_outside(tried.pulses).last_try is not None),
        now=now_ms,
        clock_factor=wall,
        database=_database(desk, tried),
        broker=_broker(desk, deaf_ms),
        messages_waiting=desk.messages_waiting(),
        sweep=SweepState(last=last_ms, stale=stale),
        telling=TellingState(
            ways=sorted(desk.ways),
            waiting=tried.waiting,
            oldest_due=tried.oldest_due_ms,
            overdue=overdue,
            moving=not stuck,
        ),
        scheduler=_scheduler(runs),
        pulses=_pulses(tried.pulses),
        outside_watch=_outside(tried.pulses),
        silences=[_silent(row) for row in tried.silences],
        versions=Versions(houseband=houseband_version(), zone_data=zone_data_version()),
    )


def _broker(desk: Desk, deaf_ms: Instant | None) -> BrokerState:
    return BrokerState(
        set_up=desk.horizon.listens,
        heard=desk.broker_heard_ms(),
        listening=desk.horizon.listens and desk.horizon.is_listening,
        not_listening_since=deaf_ms or None,
    )


def _database(desk: Desk, tried: Tried) -> DatabaseState:
    return DatabaseState(
        kind="sqlite" if desk.database.is_sqlite else "postgresql",
        writable=tried.writable,
        readable=tried.readable,
        trouble=tried.trouble,
        revision=tried.revision,
        revision_needed=tried.revision_needed,
    )


def _pulses(rows: list[Record]) -> list[PulseState]:
    others = [row for row in rows if not row["part"].startswith(_OWN_PULSES)]
    return [PulseState(part=row["part"], last=row["at_ms"], detail=row["detail"]) for row in others]


def _scheduler(runs: tuple[TickRun, ...]) -> SchedulerState:
    ticks = [TickState(name=run.name, last=run.last_ms, every_s=run.every_s, stale=run.is_stale) for run in runs]
    return SchedulerState(stale=any(run.is_stale for run in runs), ticks=ticks)


def _outside(pulses: list[Record]) -> OutsideState:
    by_part = {row["part"]: row for row in pulses}
    tried, answered = by_part.get(OUTSIDE), by_part.get(OUTSIDE_ANSWERED)
    return OutsideState(
        last_answered=None if answered is None else answered["at_ms"],
        last_try=None if tried is None else tried["at_ms"],
        result=None if tried is None else tried["detail"],
    )


def _silent(row: SilenceRow) -> SilentNow:
    return SilentNow(scope=row.scope, name=row.name, since=row.since_ms, told=row.told_ms)


def _troubles_of_tasks(runs: tuple[TickRun, ...], *, stuck: bool, turned_down: bool) -> list[str]:
    stale = ", ".join(run.name for run in runs if run.is_stale)
    said = {
        f"what happens by itself has not happened for too long: {stale}": bool(stale),
        "texts wait to go out and nobody tries": stuck,
        "texts and calls have not got out for more than 10 min": turned_down,
    }
    return [words for words, holds in said.items() if holds]


def _troubles(tried: Tried, *, stale: bool, deaf_too_long: bool, just_started: bool) -> list[str]:
    said = {
        "the database cannot be read": not tried.readable,
        "the database cannot be written": tried.readable and not tried.writable,
        "the database is not at the schema this version needs": (
            tried.readable and tried.revision != tried.revision_needed
        ),
        "rooms have not been judged for too long": stale,
        "the broker has not been listened to for more than 5 min": deaf_too_long and not just_started,
        "the broker has not been heard out since the start": just_started,
    }
    return [words for words, holds in said.items() if holds]


def _remarks(desk: Desk, *, overdue: bool, watched: bool) -> list[str]:
    said = {
        "nothing off the farm would notice that Houseband stops: set outside_watch_url": not watched,
        "a telling should have gone out more than 10 min ago": overdue,
        "no way to tell people is set up": not desk.ways,
        "this is a demonstration: its clock runs faster": desk.clock.factor != 1.0,
    }
    return [words for words, holds in said.items() if holds]
