"""What grows in the room of a scenario and what is held back there, as the rules take it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from rules.limits import Hold, Why
from rules.model import DAY_MS, LAST_INSTANT, Quantity
from rules.profile import Basis, Fast, Figure, Profile, Stage, TextLimit
from rules.profile_parser import parse_profile
from rules.schedule import Back, Growing, UsualMade
from rules.stays import stays_in_order
from rules.usual import Usual
from tests.support.scenario_clock import FarmClock
from tests.support.scenario_form import Act, Batch, Figures, Scenario, as_ms, key_of

PROFILES: Final = Path(__file__).parents[2] / "rules" / "profiles"
ROOM: Final = "house"
WEEK_MS: Final = 7 * DAY_MS


def growing(scenario: Scenario, clock: FarmClock) -> Growing:
    """What was written down about the room of a scenario."""
    batches = [(batch, _profile(batch)) for batch in scenario.crop]
    first_days_end = scenario.room.first_days_end
    is_cooler = scenario.room.kind == "cooler"
    return Growing(
        room_id=ROOM,
        stays=stays_in_order([row for batch, profile in batches for row in _stay_rows(batch, profile, clock)]),
        profiles={(profile.name, profile.version): profile for _, profile in batches},
        confirmed={
            (profile.name, profile.version, stage.name): 0
            for batch, profile in batches
            for stage in profile.stages
            if batch.confirmed
        },
        wakes_from_ms=0 if first_days_end is None or is_cooler else clock.moment(first_days_end),
        backs=_backs(scenario.people, clock),
        usuals=[_usual(Quantity(name), value, clock) for name, value in scenario.room.usually_shows.items()],
    )


def _stay_rows(batch: Batch, profile: Profile, clock: FarmClock) -> Iterator[dict[str, Any]]:
    began = clock.begins_ms - WEEK_MS if batch.stage_began is None else clock.moment(batch.stage_began)
    stage = batch.stage
    usual = {"batch_id": batch.batch, "profile": profile.name, "version": profile.version}
    yield {**usual, "valid_from_ms": began, "room_id": ROOM, "stage": stage}
    for step in batch.moves:
        stage = step.stage or stage
        room = None if step.leaves else ROOM
        yield {**usual, "valid_from_ms": clock.moment(step.at), "room_id": room, "stage": stage}


def _profile(batch: Batch) -> Profile:
    if batch.profile is not None:
        path = PROFILES / f"{batch.profile}.toml"
        return parse_profile(path.read_text(encoding="utf-8"), file=path.name)
    stages = tuple(
        Stage(
            name=name,
            text_name=name[:10],
            bands={},
            text_limits={key_of(about): _text_limit(given) for about, given in figures.items()},
            ramp_ms=as_ms(batch.ramp_minutes.get(name, 0)),
            above_people_limit=name in batch.above_people_limit,
        )
        for name, figures in batch.figures.items()
    )
    return Profile(
        name=batch.batch,
        species="figures of the file",
        label=batch.batch,
        text_name=batch.batch[:10],
        version=1,
        stages=stages,
        sources={},
    )


def _text_limit(given: Figures) -> TextLimit:
    fast = given.fast
    return TextLimit(
        limit=_figure(given.limit),
        wait_ms=as_ms(given.wait_minutes),
        recover_margin=given.margin,
        recover_ms=as_ms(given.recover_minutes),
        far_limit=None if given.far is None else _figure(given.far),
        far_wait_ms=None if given.far_wait_minutes is None else as_ms(given.far_wait_minutes),
        below_usual=given.below_usual,
        fast=None
        if fast is None
        else Fast(change=fast.change, within_ms=as_ms(fast.within_minutes), wait_ms=as_ms(fast.wait_minutes)),
    )


def _figure(value: float) -> Figure:
    return Figure(value=value, basis=Basis.JUDGEMENT, source="")


def _backs(people: Sequence[Act], clock: FarmClock) -> list[Back]:
    found: list[Back] = []
    for act in people:
        at_ms = clock.moment(act.at)
        if act.does in {"is working", "leaves it"}:
            why = Why.WORKING if act.does == "is working" else Why.LEFT
            until_ms = LAST_INSTANT if act.until is None else clock.moment(act.until)
            quantity, side = (None, None) if act.about is None else key_of(act.about)
            hold = Hold(why=why, from_ms=at_ms, until_ms=until_ms, who=act.who)
            found.append(Back(hold=hold, quantity=quantity, side=side))
        elif act.does in {"comes out", "takes it back"}:
            found[-1] = replace(found[-1], hold=replace(found[-1].hold, until_ms=at_ms))
    return found


def _usual(quantity: Quantity, value: float, clock: FarmClock) -> UsualMade:
    from_ms = clock.begins_ms - DAY_MS
    shown = Usual(quantity=quantity, from_ms=from_ms, until_ms=from_ms + 3 * DAY_MS, steps=((from_ms, value),))
    return UsualMade(made_ms=from_ms, usual=shown)
