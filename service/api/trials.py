"""Tests of the way to a person and back."""

from __future__ import annotations

from typing import Final, Literal

from fastapi import APIRouter
from pydantic import Field

from rules.model import DAY_MS, MINUTE_MS
from service.api.access import AtDesk, changing
from service.api.fields import Answered, Asked, PersonId, Who
from service.api.moments import Shown
from service.api.problems import declared
from service.errors import NotAllowed
from service.log import log
from service.storage import people, trials
from service.storage.rows import Record
from service.watch.desk import Desk
from service.watch.trials import TrialSender, is_unanswered, unanswered_sentence

router = APIRouter(tags=["trials"])

SHOWN_MS: Final = 35 * DAY_MS
NOT_AGAIN_MS: Final = MINUTE_MS


class TrialAsked(Asked):
    """A test to be sent now."""

    kind: Literal["night ring", "by hand"] = Field(
        description="night ring: put the phone as it lies at night, sound off, and see whether it wakes anybody."
    )
    who: Who


class RangAsked(Asked):
    """Somebody stood by and heard the phone."""

    who: Who


class Trial(Answered):
    """A test that was sent."""

    trial_id: str
    person_id: str
    name: str
    kind: str
    at: Shown
    way: str | None
    state: str | None = Field(description="What became of sending it; see deliveries.")
    receipt: str | None = Field(description="What the gateway said of its arrival, if it said anything.")
    answered: Shown | None
    said: str | None = Field(description="In words, when nobody answered within a day.")


@router.get("/trials", summary="Tests of the last five weeks: arrived, answered", responses=declared())
async def get_trials(desk: AtDesk) -> list[Trial]:
    async with desk.database.read() as connection:
        rows = await trials.trials_since(connection, desk.farm_id, desk.clock.now_ms() - SHOWN_MS)
    return [_trial(row, desk) for row in rows]


@router.post(
    "/people/{person_id}/trials",
    status_code=201,
    summary="Send a person a test now",
    responses=declared(404, 409),
)
async def post_trial(desk: AtDesk, person_id: PersonId, asked: TrialAsked) -> Trial:
    now_ms = desk.clock.now_ms()
    tester = TrialSender(farm=desk.farm, set_up=desk.ways, answers_by_text=desk.answers_by_text)
    async with changing(desk) as connection:
        person = await people.person(connection, desk.farm_id, person_id)
        way = _way(tester, person, asked.kind)
        recent = await trials.trials_since(connection, desk.farm_id, now_ms - NOT_AGAIN_MS)
        if any(row["person_id"] == person_id for row in recent):
            raise NotAllowed("a test was sent to this person within the last minute: wait for it")
        key = f"trial/{asked.kind}/{person_id}/{now_ms}"
        row = await tester.send(connection, person, asked.kind, key=key, way=way, now_ms=now_ms)
    log.info("test sent", to=person_id, kind=asked.kind, way=way, who=asked.who)
    sent = {"name": person["name"], "way": way, "state": "waiting", "receipt": None, "answered_ms": None}
    return _trial({**row, **sent}, desk)


@router.post(
    "/people/{person_id}/rang",
    summary="Somebody heard the phone ring at the night test of the last hour",
    description="For a farm whose texts cannot be answered. Otherwise the answer to the test says it.",
    responses=declared(404, 409),
)
async def post_rang(desk: AtDesk, person_id: PersonId, asked: RangAsked) -> Trial:
    now_ms = desk.clock.now_ms()
    async with changing(desk) as connection:
        await people.person(connection, desk.farm_id, person_id)
        if not await trials.heard_it_ring(connection, desk.farm_id, person_id, now_ms):
            raise NotAllowed("no night test was sent to this person within the last hour")
        rows = await trials.trials_since(connection, desk.farm_id, now_ms - trials.RING_MS)
    log.info("phone rang", person=person_id, who=asked.who)
    mine = (row for row in rows if row["person_id"] == person_id and row["kind"] == trials.NIGHT_RING)
    return _trial(next(mine), desk)


def _way(tester: TrialSender, person: Record, kind: str) -> str:
    if not person["active"]:
        raise NotAllowed(f"{person['name']} is with the farm no more")
    way = tester.way_to(person)
    if way is None:
        raise NotAllowed(f"no way to tell {person['name']} is set up, or this number asked for no more texts")
    if kind == trials.NIGHT_RING and way == "mail":
        raise NotAllowed("mail wakes nobody: a night test goes by text or call")
    return way


def _trial(row: Record, desk: Desk) -> Trial:
    zone, now_ms = desk.farm["zone"], desk.clock.now_ms()
    same = ("trial_id", "person_id", "name", "kind", "way", "state", "receipt")
    return Trial(
        **{name: row[name] for name in same},
        at=row["at_ms"],
        answered=row["answered_ms"],
        said=unanswered_sentence(row, zone) if is_unanswered(row, now_ms) else None,
    )
