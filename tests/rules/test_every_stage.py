"""Every stage of every species that ships, through a night that must speak once and nights that must not speak.

A text here is what would wake somebody: an alarm raised, or one that passes its far limit. All figures of the
nights are made up. That a misted house falling from 92 to 70 %RH has a fault, that fog is normal while pinning,
and that an ordinary humidity probe is good to two points is common practice. Noise comes from seeded generators.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import cache
from math import exp
from typing import Final, TypeAlias

import pytest

from rules.condition import Phase
from rules.evaluate import evaluate
from rules.event import Change, Event
from rules.limits import Crop, RoomLimits, tenderest
from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from rules.profile import Band, Profile, Stage
from rules.profile_limits import probe_accuracy
from rules.room_state import RoomState
from rules.usual import SameHour, usual_by_hour, with_usual
from tests.support.rooms import BACK_PROBE, DOOR_PROBE, HUMIDITY_LOW, START_MS, figure, in_minutes, minute
from tests.support.shipped import BY_NAME, GROWN, every_stage

pytestmark = pytest.mark.pure

Course: TypeAlias = Callable[[float], float]
"""What a room shows, by minutes since the start of the night."""

NIGHT_HOURS: Final = 8
FALL_HOURS: Final = 4
PRIOR_DAYS: Final = 4
INTERVALS_S: Final = (10, 60, 300)
ONE: Final = (DOOR_PROBE,)
TWO: Final = (DOOR_PROBE, BACK_PROBE)
POINTS: Final = 2.0
FALL_AT: Final = 30.0

TENDER: Final = [
    (profile, stage)
    for profile in GROWN
    for stage in profile.stages
    if stage.name in {"pinning", "antler", "fruiting"}
]
every_tender_stage = pytest.mark.parametrize(
    ("profile", "stage"),
    [(p, s) for p, s in TENDER if HUMIDITY_LOW in s.text_limits],
    ids=[f"{p.name}-{s.name}" for p, s in TENDER if HUMIDITY_LOW in s.text_limits],
)


def _line(minutes: float) -> Course:
    """92 falling to 70 in a straight line."""
    return lambda at: 92 - 22 * min(1.0, max(0.0, (at - FALL_AT) / minutes))


def _settling(at: float) -> float:
    """As a room loses its mist: fast at first, then slower; within a tenth of 70 after an hour and a half."""
    return 70 + 22 * exp(-max(0.0, at - FALL_AT) / 17)


FALLS: Final[dict[str, Course]] = {
    "at once": _line(0.1),
    "in ten minutes": _line(10),
    "in half an hour": _line(30),
    "in three hours": _line(180),
    "settling": _settling,
}


def _heard(
    course: Course,
    *,
    interval_s: int,
    probes: Sequence[ProbeId],
    noise: float = POINTS,
    bias: float = 0.0,
    quantity: Quantity = Quantity.HUMIDITY,
    from_ms: Instant = START_MS,
    hours: float = NIGHT_HOURS,
    seed: int = 3,
) -> list[Reading]:
    """What probes report of a course; each probe reports at its own second."""
    dice = random.Random(f"{seed}{from_ms}{interval_s}{quantity}")
    readings = []
    for number, probe in enumerate(probes):
        first = from_ms + number * 3 * SECOND_MS
        for at_ms in range(first, from_ms + round(hours * HOUR_MS), interval_s * SECOND_MS):
            value = course((at_ms - from_ms) / MINUTE_MS) + bias + dice.uniform(-noise, noise)
            top = 100.0 if quantity is Quantity.HUMIDITY else value
            readings.append(Reading(probe=probe, quantity=quantity, at_ms=at_ms, value=round(min(top, value), 1)))
    return readings


@cache
def _usual(level: float, interval_s: int, probes: tuple[ProbeId, ...]) -> tuple[tuple[Instant, float | None], ...]:
    """What the room usually shows in each hour of the night, after some ordinary days at ``level``."""
    days = range(1, PRIOR_DAYS + 1)
    before = [
        reading
        for day in days
        for reading in _heard(
            lambda _: level, interval_s=interval_s, probes=probes, from_ms=START_MS - day * DAY_MS
        )
    ]
    hours = [START_MS + hour * HOUR_MS for hour in range(NIGHT_HOURS)]
    same = [SameHour(from_ms=at, earlier=tuple(at - day * DAY_MS for day in days)) for at in hours]
    end_ms = hours[-1] + HOUR_MS
    return usual_by_hour(before, quantity=Quantity.HUMIDITY, hours=same, until_ms=end_ms).steps


def _schedule(
    profile: Profile, stage: Stage, usual: Iterable[tuple[Instant, float | None]] = ()
) -> tuple[RoomLimits, ...]:
    crop = Crop(batch="B1", profile=profile, stage=stage, stage_since_ms=START_MS - 5 * DAY_MS, wakes=True)
    plain = tenderest([crop], from_ms=0)
    steps = (replace(with_usual(plain, {Quantity.HUMIDITY: value}), from_ms=at) for at, value in usual)
    return (plain, *steps)


@cache
def _fall(shape: str, interval_s: int, probes: tuple[ProbeId, ...], noise: float = POINTS) -> tuple[Reading, ...]:
    return tuple(_heard(FALLS[shape], interval_s=interval_s, probes=probes, noise=noise, hours=FALL_HOURS))


def _night(
    schedule: Sequence[RoomLimits], readings: Iterable[Reading], *, hours: float = FALL_HOURS
) -> tuple[RoomState, tuple[Event, ...]]:
    before = RoomState(clock_ms=START_MS - SECOND_MS)
    return evaluate(before, schedule=schedule, readings=readings, until_ms=minute(hours * 60))


def _texts(events: Iterable[Event]) -> list[Event]:
    speaks = {Change.RAISED, Change.DEEPENED}
    return [e for e in events if e.change in speaks and e.judged_by is not None and e.judged_by.crop.wakes]


# --- 92 falling to 70 -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("probes", [ONE, TWO], ids=["one probe", "two probes"])
@pytest.mark.parametrize("interval_s", INTERVALS_S)
@every_tender_stage
def test_92_falling_to_70_makes_exactly_one_text(
    profile: Profile, stage: Stage, interval_s: int, probes: tuple[ProbeId, ...]
) -> None:
    """Whatever the shape of the fall, with days before that showed 92."""
    schedule = _schedule(profile, stage, _usual(92.0, interval_s, probes))
    for shape in FALLS:
        state, events = _night(schedule, _fall(shape, interval_s, probes))
        assert [e.change for e in _texts(events)] == [Change.RAISED], shape
        assert len(events) == 1, shape
        assert state.tracks[HUMIDITY_LOW].near.phase is Phase.BEYOND, shape


@every_tender_stage
def test_it_makes_exactly_one_text_in_a_room_of_which_no_days_are_known(profile: Profile, stage: Stage) -> None:
    schedule = _schedule(profile, stage)
    for shape in FALLS:
        for interval_s in (60, 300):
            events = _night(schedule, _fall(shape, interval_s, ONE))[1]
            assert [e.change for e in events] == [Change.RAISED], shape


@every_tender_stage
def test_the_text_comes_within_the_wait_of_the_fall_and_sooner_when_it_is_fast(
    profile: Profile, stage: Stage
) -> None:
    """Judgement: there is no standard for the wait. A fall at once has a quicker word than one of three hours."""
    text = stage.text_limits[HUMIDITY_LOW]
    assert text.fast is not None
    schedule = _schedule(profile, stage, _usual(92.0, 60, ONE))
    fall = _fall("at once", 60, ONE, noise=0.0)
    [event] = _night(schedule, fall)[1]
    assert in_minutes(event.at_ms) - FALL_AT <= text.fast.wait_ms / MINUTE_MS + 1
    slow = _fall("in three hours", 60, ONE, noise=0.0)
    [event] = _night(schedule, slow)[1]
    assert event.at_ms - event.began_ms == text.wait_ms


def test_shiitake_run_dry_on_purpose_speaks_of_a_fall_inside_its_band() -> None:
    """S08 fruits at 60 to 80 %RH: in such a copy 70 is in the band, and only what is usual tells of the fault."""
    shiitake = BY_NAME["shiitake"]
    fruiting = shiitake.stage("fruiting")
    text = fruiting.text_limits[HUMIDITY_LOW]
    low = replace(text, limit=figure(55), far_limit=figure(45))
    dry = replace(
        fruiting,
        bands={**fruiting.bands, Quantity.HUMIDITY: Band(low=figure(60), high=figure(80))},
        text_limits={**fruiting.text_limits, HUMIDITY_LOW: low},
    )
    for interval_s in INTERVALS_S:
        for shape in FALLS:
            fall = _fall(shape, interval_s, ONE)
            with_days = _schedule(shiitake, dry, _usual(92.0, interval_s, ONE))
            assert [e.change for e in _night(with_days, fall)[1]] == [Change.RAISED]
            assert _night(_schedule(shiitake, dry), fall)[1] == (), "without days before nobody can tell"


# --- nights that must not speak -------------------------------------------------------------------------------


def _ordinary(band: Band, quantity: Quantity) -> float | None:
    """What a room aims at: the target, or inside the edges there are by three times what a probe may be off."""
    if band.target is not None:
        return band.target.value
    if band.low is not None and band.high is not None:
        return (band.low.value + band.high.value) / 2
    edge = band.high or band.low
    if edge is None:
        return None
    inward = 3 * probe_accuracy(quantity, edge.value)
    return edge.value - inward if band.high is not None else edge.value + inward


@pytest.mark.parametrize(
    ("noise", "bias"), [(1.0, 0.0), (0.0, 1.0), (0.0, -1.0)], ids=["noise", "all above", "all below"]
)
@every_stage
def test_an_ordinary_night_at_target_with_an_ordinary_probe_makes_no_text(
    profile: Profile, stage: Stage, noise: float, bias: float
) -> None:
    """Probes off by 2 points, 0.5 degC, 50 ppm and 5 %, as noise or all one way; every quantity that has a limit.

    The days before showed the target through a true probe, so a probe that has since gone off is in here too.
    """
    watched = {quantity for quantity, _ in stage.text_limits}
    aims = {q: aim for q, band in stage.bands.items() if q in watched and (aim := _ordinary(band, q)) is not None}
    assert set(aims) == watched
    readings: list[Reading] = []
    for quantity, aim in aims.items():
        off = probe_accuracy(quantity, aim)
        readings += _heard(
            lambda _, level=aim: level,  # type: ignore[misc]
            interval_s=60, probes=ONE, noise=noise * off, bias=bias * off, quantity=quantity,
        )  # fmt: skip
    humid = aims.get(Quantity.HUMIDITY)
    usual = () if humid is None else _usual(humid, 60, ONE)
    assert _night(_schedule(profile, stage, usual), readings, hours=NIGHT_HOURS)[1] == ()


@cache
def _fog(interval_s: int) -> tuple[Reading, ...]:
    """Up and down between 95 and 100 in twenty minutes."""
    return tuple(
        _heard(
            lambda at: 95 + 5 * abs((at % 20) / 10 - 1),
            interval_s=interval_s, probes=TWO, noise=0.0, hours=FALL_HOURS,
        )
    )  # fmt: skip


@every_tender_stage
def test_a_fogged_night_makes_no_text(profile: Profile, stage: Stage) -> None:
    """95 to 100 %RH, mist on and off; probes read up to 100 in fog (common practice)."""
    for interval_s in INTERVALS_S:
        schedule = _schedule(profile, stage, _usual(97.5, interval_s, TWO))
        readings = _fog(interval_s)
        assert all(95 <= reading.value <= 100 for reading in readings)
        assert _night(schedule, readings)[1] == ()


def test_the_days_before_are_as_stated() -> None:
    """Four days at 92, heard with noise: 92 is usual in every hour, and of two probes the lower one."""
    for interval_s in INTERVALS_S:
        for probes, most in ((ONE, 0.6), (TWO, 1.4)):
            values = [value for _, value in _usual(92.0, interval_s, probes)]
            assert all(value is not None and 92 - most <= value <= 92.6 for value in values)


def test_every_pinning_and_fruiting_stage_is_walked() -> None:
    walked = [(p.name, s.name) for p, s in TENDER if HUMIDITY_LOW in s.text_limits]
    left = [(p.name, s.name) for p, s in TENDER if HUMIDITY_LOW not in s.text_limits]
    assert left == [("reishi", "antler")], "its bags stay closed: the room's air is not what the antlers breathe"
    assert len(walked) == 2 * len(GROWN) + 1, "pinning and fruiting of each species, and the antlers of maitake"
