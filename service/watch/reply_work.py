"""Acting on answers about work: who works where until when, and a crop that has come to another stage."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Final

from rules.model import Instant
from rules.profile import Profile, Stage
from rules.sharing import Sharer
from service.errors import UserError
from service.localtime import at_local, local_date
from service.watch.holds import Holding
from service.watch.moving import Move, Moving
from service.watch.reply_case import SITE, Case, Outcome
from service.watch.sharing import room_share
from service.wire.reply_times import Until

_HALF_DAY_MINUTES: Final = 12 * 60
_REST: Final = "rest"
"""After it comes the next flush, whose stages stand before it."""


async def work(case: Case) -> Outcome:
    """Working in a room or in all until a time. It ends by itself, and holds back nothing about danger."""
    everywhere = case.said.all_rooms or (case.said.room_id or "").startswith(SITE)
    room_id = None if everywhere else case.said.room_id
    if room_id is None and not everywhere:
        return Outcome(result="working where", facts={"reply": case.reply(case.any_room())})
    reply = "" if room_id is None else case.reply(room_id)
    if case.said.until is None:
        return Outcome(result="until when", room_id=room_id, facts={"reply": reply})
    until_ms = next_time(case.said.until, case.now_ms, case.desk.farm["zone"])
    holding = Holding(connection=case.connection, farm_id=case.farm_id, now_ms=case.now_ms)
    try:
        await holding.working(room_id, case.person_id, until_ms)
    except UserError:
        return Outcome(result="too long", room_id=room_id, facts={"reply": reply})
    if room_id is None:
        return Outcome(result="working all", facts={"other_ms": until_ms})
    caution = await case.caution((), room_id=room_id)
    return Outcome(result="working", room_id=room_id, facts={"other_ms": until_ms, "caution": caution})


def next_time(until: Until, now_ms: Instant, zone: str) -> Instant:
    """The next moment at which the farm's clock shows this time; either half of the day, where none was said."""
    minutes = [until.minute, until.minute + _HALF_DAY_MINUTES] if until.either_half else [until.minute]
    today = local_date(now_ms, zone)
    days = (today, today + timedelta(days=1), today + timedelta(days=2))
    return min(at_ms for day in days for minute in minutes if (at_ms := at_local(day, minute, zone)) > now_ms)


async def change_stage(case: Case) -> Outcome:
    """The one batch of a room comes to a later stage of its profile, from now on."""
    room_id = case.said.room_id
    if room_id is None or room_id.startswith(SITE):
        return Outcome(result="stage where")
    share = await room_share(case.connection, case.farm_id, room_id, case.desk.catalogue)
    here = share.sharers_at(case.now_ms)
    if len(here) != 1:
        return Outcome(result="stage, several" if here else "stage, no crop", room_id=room_id)
    stage = _meant(here[0], case.said.stages)
    if stage is None:
        return Outcome(result="stage, unknown", room_id=room_id)
    facts = {"stage": stage.text_name}
    if not _is_later(here[0].profile, here[0].stage, stage):
        return Outcome(result="stage, not later", room_id=room_id, facts=facts)
    moved = await _move(case, here[0].batch, stage, room_id)
    return Outcome(result="stage" if moved else "stage, refused", room_id=room_id, facts=facts)


def _meant(sharer: Sharer, names: tuple[str, ...]) -> Stage | None:
    return next((stage for stage in sharer.profile.stages if stage.text_name in names), None)


def _is_later(profile: Profile, now: Stage, then: Stage) -> bool:
    order = [stage.name for stage in profile.stages]
    next_flush = now.name == _REST and order.index(then.name) > 0
    return order.index(then.name) > order.index(now.name) or (next_flush and then.name != now.name)


async def _move(case: Case, batch_id: str, stage: Stage, room_id: str) -> bool:
    """Move it; where that is refused, whatever was written of it is taken back."""
    desk = case.desk
    moving = Moving(
        connection=case.connection,
        farm_id=case.farm_id,
        zone=desk.farm["zone"],
        units=desk.farm["units"],
        catalogue=desk.catalogue,
        now_ms=case.now_ms,
    )
    try:
        async with case.connection.begin_nested():
            move = Move(room_id=room_id, stage=stage.name, from_ms=None, who=str(case.person["name"]))
            await moving.move(batch_id, move)
    except UserError:
        return False
    return True


def stage_names(profiles: Iterable[Profile]) -> tuple[str, ...]:
    """The names of all stages that can be said."""
    return tuple(dict.fromkeys(stage.text_name for profile in profiles for stage in profile.stages))
