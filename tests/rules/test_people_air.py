"""Averages of a room's air for people: worked examples, what is unknown, probes at their top, late news."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.model import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Instant, ProbeId, Quantity, Reading
from rules.people import Level, PeopleLimits
from rules.people_air import (
    QUARTER_MS,
    Air,
    AirState,
    Spoken,
    Step,
    air_from_plain,
    air_to_plain,
    breathe,
    figures,
    spoken,
)
from rules.people_memory import (
    BASE_LAG_MS,
    Memory,
    back_to,
    begin,
    catch_up,
    memory_from_plain,
    memory_to_plain,
)
from tests.support.reference import rows_of

pytestmark = pytest.mark.pure

START_MS = 20_000 * DAY_MS
DOOR, BACK = ProbeId("door"), ProbeId("back")
ROWS = rows_of("co2.csv")
USUAL = PeopleLimits()


def rows(quantity: str) -> list[Any]:
    """The rows of the reference file that give this figure."""
    return [pytest.param(row, id=row["id"]) for row in ROWS if row["quantity"] == quantity]


def at(minutes: float) -> Instant:
    return START_MS + round(minutes * MINUTE_MS)


def co2(minutes: float, value: float, probe: ProbeId = DOOR) -> Reading:
    return Reading(probe=probe, quantity=Quantity.CO2, at_ms=at(minutes), value=value)


def steady(
    *pieces: tuple[float, float], start: float = 0, step: float = 1, probe: ProbeId = DOOR
) -> list[Reading]:
    """Readings every ``step`` minutes: so many minutes of this value, then so many of that."""
    found, begun = [], start
    for minutes, value in pieces:
        found += [co2(begun + n * step, value, probe) for n in range(round(minutes / step))]
        begun += minutes
    return found


def air(readings: list[Reading], limits: PeopleLimits = USUAL, **given: Any) -> Air:
    return Air(limits=limits, readings=readings, **given)


def judged(breathed: Air, minutes: float) -> tuple[AirState, tuple[Step, ...]]:
    """Judge from a moment before the first reading to so many minutes after the start."""
    return breathe(AirState.unknown(START_MS - 1), breathed, until_ms=at(minutes))


def passed(breathed: Air, minutes: float) -> list[tuple[float, set[Level]]]:
    """When which levels were passed."""
    _, steps = judged(breathed, minutes)
    return [((step.at_ms - START_MS) / MINUTE_MS, set(step.over)) for step in steps]


# --- published figures ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", [*rows("limit_osha_pel_8h_twa"), *rows("limit_niosh_rel_twa")])
def test_the_usual_limit_over_eight_hours_is_the_published_one(row: dict[str, str]) -> None:
    assert float(row["expected"]) == USUAL.eight_hours_ppm


@pytest.mark.parametrize("row", rows("limit_niosh_1976_criteria_ceiling_10min"))
def test_the_usual_short_term_limit_is_the_published_figure(row: dict[str, str]) -> None:
    """The row is the 1976 ceiling; that today's 15-min limit has the same figure is from memory."""
    assert float(row["expected"]) == USUAL.fifteen_minutes_ppm
    assert USUAL.ceiling_ppm is None


@pytest.mark.parametrize("row", rows("twa_8h"))
@pytest.mark.parametrize("step", [0.5, 1.0, 5.0])
def test_the_average_of_eight_hours_is_that_of_the_worked_examples(row: dict[str, str], step: float) -> None:
    """29 CFR 1910.1000(d)(1); the divisor stays 8 for somebody who was inside for a shift of ten hours."""
    segments = [(hours * 60, ppm) for hours, ppm in json.loads(row["inputs"])]
    whole = sum(minutes for minutes, _ in segments)
    breathed = air(steady(*segments, step=step), stays=[(START_MS, at(whole + 1))])
    state, _ = judged(breathed, whole)
    mean = figures(state, breathed).eight_hours
    assert mean.ppm == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))
    assert mean.coverage == 1.0
    assert (Level.EIGHT_HOURS in state.over) == (float(row["expected"]) > USUAL.eight_hours_ppm)


@pytest.mark.parametrize("row", rows("stel_15min_mean"))
def test_the_mean_of_fifteen_minutes_is_that_of_the_worked_example(row: dict[str, str]) -> None:
    breathed = air(steady(*json.loads(row["inputs"])))
    state, _ = judged(breathed, 15)
    mean = figures(state, breathed).fifteen_minutes
    assert mean.ppm == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))
    assert state.over == {Level.FIFTEEN_MINUTES}


def test_a_short_peak_passes_the_short_term_limit_while_the_day_is_fine() -> None:
    """Row CO2-017 the other way round in time: a quarter of an hour at 31000, then 800."""
    steps = passed(air(steady((15, 31000), (60, 800))), 75)
    assert steps[0] == (15, {Level.FIFTEEN_MINUTES})
    assert steps[-1][1] == set()


# --- what the figures mean --------------------------------------------------------------------------------------


def test_without_anybody_logged_inside_ten_hours_are_averaged_over_the_last_eight() -> None:
    state, _ = judged(breathed := air(steady((600, 4200))), 600)
    assert figures(state, breathed).eight_hours.ppm == 4200.0


def test_a_stay_of_more_than_sixteen_hours_counts_as_sixteen() -> None:
    breathed = air(steady((1080, 1000)), stays=[(START_MS, at(2000)), (at(1079), at(1090))])
    state, _ = judged(breathed, 1080)
    mean = figures(state, breathed).eight_hours
    assert (mean.ppm, mean.coverage) == (2000.0, 1.0)


def test_eight_hours_are_raised_to_the_minute_and_ended_at_a_quarter() -> None:
    """At 10000 ppm the sum passes 5000 x 8 h after 4 h; aired out, it takes until that has left the window."""
    over, back = passed(air(steady((260, 10000), (600, 400))), 860)
    assert over == (241, {Level.EIGHT_HOURS})
    assert back[1] == set()
    assert back[0] % 15 == 0
    assert back[0] > 480


def test_exactly_at_a_limit_is_not_over_it() -> None:
    assert passed(air(steady((480, 5000))), 480) == []
    assert passed(air(steady((15, 30000))), 15) == []
    assert passed(air(steady((2, 9000)), PeopleLimits(ceiling_ppm=9000)), 2) == []


def test_a_ceiling_speaks_at_the_very_reading_and_ends_by_its_margin() -> None:
    limits = PeopleLimits(ceiling_ppm=9000)
    readings = [co2(0.5, 800), co2(1.25, 9001), co2(1.75, 8500), co2(2.25, 8100)]
    assert passed(air(readings, limits), 3) == [(1.25, {Level.CEILING}), (2.25, set())]


def test_what_is_unknown_counts_as_nothing_and_is_stated() -> None:
    """A probe heard every minute holds its last value for three of them: ten known minutes of fifteen."""
    state, _ = judged(breathed := air(steady((8, 40000))), 15)
    mean = figures(state, breathed).fifteen_minutes
    assert (mean.ppm, mean.coverage) == (40000 * 10 / 15, 10 / 15)
    assert mean.cautious_ppm == 40000
    assert state.over == frozenset()


def test_a_room_that_is_heard_no_longer_stays_over() -> None:
    """At 40000 ppm from the first minute, twelve minutes make the mean of fifteen pass 30000."""
    assert passed(air(steady((20, 40000))), 600) == [(12, {Level.FIFTEEN_MINUTES})]


def test_the_highest_probe_speaks_for_the_room() -> None:
    readings = [*steady((20, 800)), *steady((20, 31000), probe=BACK)]
    assert passed(air(readings), 15) == [(15, {Level.FIFTEEN_MINUTES})]


def test_a_probe_that_fell_silent_high_is_not_outvoted_by_one_that_reads_well() -> None:
    readings = [*steady((120, 800)), *steady((20, 31000), probe=BACK)]
    assert passed(air(readings), 110) == [(15, {Level.FIFTEEN_MINUTES})]
    assert passed(air(readings, taken_out=[(at(40), BACK)]), 110)[-1][1] == set()


def test_a_ceiling_does_not_end_while_the_probe_that_passed_it_is_silent() -> None:
    readings = [*steady((60, 800)), *steady((4, 9500), probe=BACK)]
    assert passed(air(readings, PeopleLimits(ceiling_ppm=9000)), 60) == [(0, {Level.CEILING})]


def test_a_probe_taken_out_speaks_no_longer() -> None:
    state, _ = judged(breathed := air(steady((10, 900)), taken_out=[(at(9.5), DOOR), (at(90), BACK)]), 20)
    assert figures(state, breathed).now_ppm is None
    assert state.held == {}


# --- a probe at its top -----------------------------------------------------------------------------------------


def test_a_probe_at_its_top_under_the_short_term_limit_is_marked_after_fifteen_minutes() -> None:
    readings = steady((20, 10000), (30, 900))
    assert passed(air(readings, tops={DOOR: 10000}), 50) == [(15, {Level.AT_TOP}), (35, set())]
    assert passed(air(readings), 50) == []


def test_a_probe_whose_top_is_the_limit_passes_it_by_reaching_it() -> None:
    short = PeopleLimits(fifteen_minutes_ppm=10000, ceiling_ppm=10000)
    steps = passed(air(steady((20, 10000)), short, tops={DOOR: 10000}), 20)
    assert steps == [(0, {Level.CEILING}), (15, {Level.CEILING, Level.FIFTEEN_MINUTES})]
    day = passed(air(steady((480, 5000)), tops={DOOR: 5000}), 480)
    assert day == [(15, {Level.AT_TOP}), (480, {Level.AT_TOP, Level.EIGHT_HOURS})]


def test_eight_hours_do_not_end_while_a_probe_reads_no_higher() -> None:
    limits = PeopleLimits(eight_hours_ppm=900)
    readings = steady((480, 1000), (600, 800))
    assert passed(air(readings, limits, tops={DOOR: 800}), 1080)[-1][1] >= {Level.EIGHT_HOURS}
    assert Level.EIGHT_HOURS not in passed(air(readings, limits, tops={DOOR: 900}), 1080)[-1][1]


def test_the_mark_of_the_top_gives_way_to_a_limit_that_is_proven() -> None:
    readings = [*steady((40, 10000)), *steady((20, 40000), start=20, probe=BACK)]
    steps = passed(air(readings, tops={DOOR: 10000}), 40)
    assert steps[0] == (15, {Level.AT_TOP})
    assert steps[-1] == (30, {Level.FIFTEEN_MINUTES})  # exactly 30000, and more where the probe reads no higher


def test_a_limit_that_is_taken_away_is_not_passed() -> None:
    state, _ = judged(air(steady((3, 9500)), PeopleLimits(ceiling_ppm=9000)), 2)
    assert state.over == {Level.CEILING}
    after, _ = breathe(state, air([]), until_ms=at(3))
    assert after.over == frozenset()


def test_what_is_spoken_is_the_figure_by_which_a_limit_is_passed() -> None:
    limits = PeopleLimits(eight_hours_ppm=1000, ceiling_ppm=35000)
    state, _ = judged(breathed := air(steady((20, 40000)), limits), 20)
    now = figures(state, breathed)
    assert spoken(Level.FIFTEEN_MINUTES, now, limits) == Spoken(ppm=40000, at_least=False, coverage=1.0)
    assert spoken(Level.EIGHT_HOURS, now, limits).at_least
    assert spoken(Level.CEILING, now, limits) == Spoken(ppm=40000, at_least=False, coverage=1.0)


def test_a_room_that_fell_silent_is_spoken_of_by_what_was_heard_last() -> None:
    limits = PeopleLimits(ceiling_ppm=35000)
    state, _ = judged(breathed := air(steady((20, 40000)), limits), 50)
    now = figures(state, breathed)
    assert (now.now_ppm, now.last_ppm, now.fifteen_minutes.ppm) == (None, 40000, 0)
    assert spoken(Level.FIFTEEN_MINUTES, now, limits) == Spoken(ppm=40000, at_least=True, coverage=0.0)
    assert spoken(Level.CEILING, now, limits) == Spoken(ppm=40000, at_least=True, coverage=1.0)


# --- portions, repeats, late news -------------------------------------------------------------------------------

HISTORY = st.lists(
    st.tuples(
        st.integers(0, 90 * 60),
        st.sampled_from([DOOR, BACK]),
        st.one_of(st.sampled_from([400.0, 5000.0, 10000.0, 31000.0, 40000.0]), st.floats(300, 50000)),
    ),
    max_size=60,
    unique_by=lambda r: r[:2],
)
TIGHT = PeopleLimits(eight_hours_ppm=1000, fifteen_minutes_ppm=20000, ceiling_ppm=45000)


def history(drawn: list[tuple[int, ProbeId, float]]) -> list[Reading]:
    return [co2(second / 60, value, probe) for second, probe, value in drawn]


@settings(max_examples=60, deadline=None)
@given(HISTORY, st.lists(st.integers(0, 100 * 60), max_size=6))
def test_judging_in_portions_is_judging_at_once(drawn: list[Any], cuts: list[int]) -> None:
    breathed = air(
        history(drawn),
        TIGHT,
        tops={BACK: 10000.0},
        taken_out=[(at(47.5), BACK)],
        stays=[(at(10), at(60))],
    )
    once, all_steps = judged(breathed, 100)
    state, steps = AirState.unknown(START_MS - 1), list[Step]()
    for cut in sorted(cuts):
        state, some = breathe(state, breathed, until_ms=START_MS + cut * SECOND_MS)
        steps += some
        state = air_from_plain(json.loads(json.dumps(air_to_plain(state))))
    state, some = breathe(state, breathed, until_ms=at(100))
    assert state == once
    assert (*steps, *some) == all_steps


@settings(max_examples=40, deadline=None)
@given(HISTORY, st.lists(st.integers(1, 100 * 60), max_size=6), st.randoms(use_true_random=False))
def test_catching_up_in_portions_gives_out_every_step_once(drawn: list[Any], cuts: list[int], order: Any) -> None:
    readings = history(drawn)
    order.shuffle(readings)
    breathed = air([*readings, *readings[:5]], TIGHT, tops={BACK: 10000.0})
    start = Memory(base=AirState.unknown(START_MS - 1), seen_ms=START_MS - 1)
    once = catch_up(start, breathed, until_ms=at(100))
    memory, steps = start, list[Step]()
    for cut in sorted(cuts):
        caught = catch_up(memory, breathed, until_ms=START_MS + cut * SECOND_MS)
        memory = memory_from_plain(json.loads(json.dumps(memory_to_plain(caught.memory))))
        steps += caught.steps
    last = catch_up(memory, breathed, until_ms=at(100))
    assert (*steps, *last.steps) == once.steps
    assert replace(last.memory, older=()) == replace(once.memory, older=())


def test_readings_that_come_within_the_lag_are_taken_in_their_turn() -> None:
    readings = steady((40, 31000))
    memory = begin(at(0), seen_ms=at(0))
    told: list[Step] = []
    for minute in range(41):
        known = [r for r in readings if r.at_ms <= at(minute) - 90 * SECOND_MS]
        caught = catch_up(memory, air(known), until_ms=at(minute))
        memory, told = caught.memory, [*told, *caught.steps]
    assert [step.over for step in told] == [{Level.FIFTEEN_MINUTES}]
    assert told[0].at_ms == at(15)
    assert told[0].figures.fifteen_minutes.coverage == 1.0
    assert memory.base.clock_ms == at(40) - BASE_LAG_MS


def test_an_hour_that_comes_late_is_told_from_the_moment_it_is_known() -> None:
    low, high = steady((120, 800)), steady((40, 31000), start=80, probe=BACK)
    memory = catch_up(begin(at(0), seen_ms=at(0)), air(low), until_ms=at(120)).memory
    again = back_to(memory, at(80))
    caught = catch_up(again, air([*low, *high]), until_ms=at(121))
    assert [(step.at_ms, set(step.over)) for step in caught.steps] == [(at(120), {Level.FIFTEEN_MINUTES})]


def test_readings_that_come_late_take_us_no_further_back_than_they_must() -> None:
    """Older bases are kept, one of them an hour old: what follows from it is what follows from the beginning."""
    readings = steady((300, 800), (30, 31000))
    memory = begin(at(0), seen_ms=at(0))
    for minute in range(0, 320, 5):
        known = [r for r in readings if r.at_ms <= at(minute) and r.at_ms > memory.base.clock_ms]
        memory = catch_up(memory, air(known), until_ms=at(minute)).memory
    assert [(at(315) - base.clock_ms) // MINUTE_MS for base in memory.older] == [77, 17]
    assert back_to(memory, at(314)) == memory
    assert back_to(memory, at(305)).base == memory.older[1]
    assert back_to(memory, at(250)).base == memory.older[0]
    assert back_to(memory, at(238)).base.held == {}
    late = [co2(250 + n, 40000, BACK) for n in range(10)]
    whole = catch_up(back_to(memory, at(100)), air([*readings, *late]), until_ms=at(330))
    part = catch_up(back_to(memory, at(250)), air([*readings, *late]), until_ms=at(330))
    assert (part.steps, part.present) == (whole.steps, whole.present)


def test_what_was_told_stays_until_it_is_back_even_where_we_begin_anew() -> None:
    """Between nine tenths of the limit and the limit, only what was told before says that it is passed."""
    readings = steady((20, 31000), (60, 28000))
    caught = catch_up(begin(at(0), seen_ms=at(0)), air(readings), until_ms=at(60))
    assert caught.memory.over == {Level.FIFTEEN_MINUTES}
    later = [r for r in readings if r.at_ms >= at(20)]
    again = catch_up(begin(at(61), seen_ms=at(60), over=caught.memory.over), air(later), until_ms=at(61))
    assert again.steps == ()
    assert again.memory.over == {Level.FIFTEEN_MINUTES}


def test_nothing_is_judged_back_in_time() -> None:
    state, _ = judged(air([]), 10)
    assert breathe(state, air([]), until_ms=at(5)) == (state, ())
    memory = catch_up(begin(at(0), seen_ms=at(0)), air([]), until_ms=at(10)).memory
    assert catch_up(memory, air([]), until_ms=at(5)).memory.seen_ms == at(10)
    assert begin(5, seen_ms=0) == Memory(base=AirState.unknown(0), seen_ms=0)


def test_only_co2_is_breathed_and_the_present_is_told() -> None:
    warm = Reading(probe=DOOR, quantity=Quantity.TEMPERATURE, at_ms=at(0), value=15.0)
    state, _ = judged(breathed := air([warm, co2(0, 700)], tops={DOOR: 5000, BACK: 400}), 1)
    now = figures(state, breathed)
    assert (now.now_ppm, now.now_at_top, now.at_ms) == (700, False, at(1))


def test_what_is_remembered_stays_small() -> None:
    readings = [*steady((1440, 1234.567)), *steady((1440, 2345.678), probe=BACK)]
    state, _ = judged(air(readings), 1440)
    assert (len(state.minutes), len(state.quarters)) == (15, 64)
    assert len(json.dumps(air_to_plain(state), separators=(",", ":"))) < 6_000
    assert QUARTER_MS * len(state.quarters) == 16 * HOUR_MS


def test_what_is_remembered_read_back_from_paper_is_the_same() -> None:
    breathed = air(steady((47, 6000.0), (13, 800.0)), tops={DOOR: 6000.0})
    state, _ = judged(breathed, 60)
    assert air_from_plain(json.loads(json.dumps(air_to_plain(state)))) == state
    start = Memory(base=AirState.unknown(START_MS - 1), seen_ms=START_MS - 1)
    memory = catch_up(start, breathed, until_ms=at(60)).memory
    assert memory_from_plain(json.loads(json.dumps(memory_to_plain(memory)))) == memory
