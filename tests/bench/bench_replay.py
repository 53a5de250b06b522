"""How long a quarter of a room takes to replay, beside one numpy comparison of the same arrays with their limits.

The quarter is invented: 90 days of temperature, humidity and CO2 at 10 s, with mist, days and nights, lost
readings, hours without any, and a stage change. It is gone through three times: with a dry hour every ninth night
(ten texts), with one every third night (thirty), and with limits so tight that the room is beyond one of them, and
back, with every puff of mist.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import pytest

from rules.evaluate import evaluate
from rules.event import Change, Event
from rules.history import History, Moments, Values
from rules.limits import Crop, RoomLimits, tenderest
from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading, Side
from rules.profile_parser import parse_profile
from rules.replay import replay
from rules.room_state import RoomState
from tests.support.figures import quickest, show
from tests.support.rooms import START_MS

pytestmark = pytest.mark.pure

DAYS: Final = 90
EVERY_MS: Final = 10 * SECOND_MS
END_MS: Final = START_MS + DAYS * DAY_MS
FOLDED_DAYS: Final = 2
"""The fold is timed over this much of the quarter: all of it would take minutes."""
PROBE: Final = ProbeId("h7-door")
PROFILES: Final = Path(__file__).parents[2] / "rules" / "profiles"


def test_replay() -> None:
    quarter, troubled = _quarter(dry_every=9), _quarter(dry_every=3)
    count = sum(int(history.at_ms.size) for history in quarter)
    days = _readings(quarter, until_ms=START_MS + FOLDED_DAYS * DAY_MS)
    bare, *replayed = quickest(
        [
            ("compare with the limits", count, partial(_compared, quarter, _schedule())),
            ("replay the quarter", count, partial(_replayed, quarter, _schedule())),
            ("replay a troubled quarter", count, partial(_replayed, troubled, _schedule())),
            ("replay with limits far too tight", count, partial(_replayed, quarter, _schedule(tighter=7.0))),
            (f"judge {FOLDED_DAYS} days reading by reading", len(days), partial(_judged, days, _schedule())),
        ]
    )
    show(f"Replaying {count} readings of one room", [bare, *replayed], against=bare, each="readings")
    judged = _judged(days, _schedule())
    said = []
    for row, events in zip(
        replayed,
        (
            _replayed(quarter, _schedule()),
            _replayed(troubled, _schedule()),
            _replayed(quarter, _schedule(tighter=7.0)),
        ),
        strict=False,
    ):
        raised = sum(event.change is Change.RAISED for event in events)
        said.append(
            f"{row.name}: {row.seconds:.3f} s, {raised} alarms, {row.seconds / bare.seconds:.1f} times the bare"
        )
    sys.stdout.write("".join(f"  {line}\n" for line in said))

    assert judged
    assert _replayed(quarter, _schedule())[: len(judged)] == judged


def _replayed(quarter: Sequence[History], schedule: Sequence[RoomLimits]) -> tuple[Event, ...]:
    return replay(quarter, schedule=schedule, until_ms=END_MS, state=_unjudged())[1]


def _judged(readings: Sequence[Reading], schedule: Sequence[RoomLimits]) -> tuple[Event, ...]:
    until_ms = START_MS + FOLDED_DAYS * DAY_MS
    return evaluate(_unjudged(), schedule=schedule, readings=readings, until_ms=until_ms)[1]


def _compared(quarter: Sequence[History], schedule: Sequence[RoomLimits]) -> int:
    """The yardstick: no state, no time, no order, one stage's limits."""
    beyond = 0
    for history in quarter:
        low = schedule[0].limits.get((history.quantity, Side.LOW))
        high = schedule[0].limits.get((history.quantity, Side.HIGH))
        under = history.value < (-np.inf if low is None else low.near.limit)
        over = history.value > (np.inf if high is None else high.near.limit)
        beyond += int(np.count_nonzero(under | over))
    return beyond


def _unjudged() -> RoomState:
    return RoomState(clock_ms=START_MS - SECOND_MS)


def _readings(quarter: Sequence[History], *, until_ms: Instant) -> list[Reading]:
    return [
        Reading(probe=history.probe, quantity=history.quantity, at_ms=at_ms, value=value)
        for history in quarter
        for at_ms, value in zip(history.at_ms.tolist(), history.value.tolist(), strict=True)
        if at_ms <= until_ms
    ]


# --- the invented quarter ---------------------------------------------------------------------------------------


def _schedule(*, tighter: float = 0.0) -> tuple[RoomLimits, ...]:
    """Shiitake: pins for three weeks, then fruit; ``tighter`` raises every low limit by so much."""
    profile = parse_profile((PROFILES / "shiitake.toml").read_text(encoding="utf-8"), file="shiitake.toml")
    made = []
    for name, day in (("pinning", 0), ("fruiting", 21)):
        since_ms = START_MS + day * DAY_MS
        crop = Crop(batch="SH-41", profile=profile, stage=profile.stage(name), stage_since_ms=since_ms, wakes=True)
        made.append(_raised(tenderest([crop], from_ms=since_ms), tighter))
    return tuple(made)


def _raised(limits: RoomLimits, by: float) -> RoomLimits:
    """Low limits of humidity raised."""
    changed = {
        key: replace(limit, near=replace(limit.near, limit=limit.near.limit + by))
        if key == (Quantity.HUMIDITY, Side.LOW)
        else limit
        for key, limit in limits.limits.items()
    }
    return replace(limits, limits=changed)


def _quarter(*, dry_every: int) -> list[History]:
    chance = np.random.default_rng(20261125)
    at_ms = np.arange(START_MS, END_MS, EVERY_MS, dtype=np.int64)
    day = (at_ms - START_MS) / DAY_MS
    around = np.sin(2 * np.pi * day)
    mist = np.abs((at_ms % (12 * MINUTE_MS)) / (6 * MINUTE_MS) - 1)
    values = {
        Quantity.TEMPERATURE: 15.0 + 0.6 * around + chance.normal(0, 0.05, at_ms.size),
        Quantity.HUMIDITY: 92.5
        + 3 * mist
        - 1.0 * around
        + chance.normal(0, 0.3, at_ms.size)
        - _dry(at_ms, dry_every),
        Quantity.CO2: 850 + 90 * around + chance.normal(0, 12, at_ms.size),
    }
    return [_heard(chance, quantity, at_ms, value) for quantity, value in values.items()]


def _dry(at_ms: Moments, every: int) -> Values:
    """How much too dry it is: every so many nights the humidifier stops for an hour."""
    into_ms = (at_ms - START_MS - 20 * HOUR_MS) % (every * DAY_MS)
    falls, rises = into_ms / (20 * MINUTE_MS), (90 * MINUTE_MS - into_ms) / (30 * MINUTE_MS)
    return 22.0 * np.clip(np.minimum(falls, rises), 0, 1)


def _heard(chance: np.random.Generator, quantity: Quantity, at_ms: Moments, value: Values) -> History:
    """What arrives: to a tenth, one reading in two hundred lost, and an hour of nothing every ten days."""
    away = (at_ms - START_MS - 5 * DAY_MS) % (10 * DAY_MS) < HOUR_MS
    kept = (chance.random(at_ms.size) > 0.005) & ~away
    return History(probe=PROBE, quantity=quantity, at_ms=at_ms[kept], value=np.round(value[kept], 1))
