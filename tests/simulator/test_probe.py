"""Probes lag, round, wander a little and can stick."""

from __future__ import annotations

import itertools
import statistics

import pytest

from simulator.probe import Probe, ProbeSpec, Sense

pytestmark = pytest.mark.pure

AIR = {"temperature": 15.0, "humidity": 92.0, "co2": 700.0}


def probe(*, noise: float = 0.0, lag_s: float = 60.0, offset: float = 0.0, resolution: float = 0.1) -> Probe:
    sense = Sense(lag_s=lag_s, noise=noise, resolution=resolution, offset=offset)
    spec = ProbeSpec(probe_id="p", room_id="r", place="middle", senses={"humidity": sense}, phase_s=20)
    return Probe(spec, seed=3)


def humidity(subject: Probe, at_ms: int = 0, *, sticks: bool = False) -> float:
    return subject.measure(at_ms, sticks=sticks)[0].value


def test_a_step_is_63_percent_there_after_one_lag() -> None:
    subject = probe(resolution=0.001)
    subject.feel(AIR, 10.0)
    for _ in range(6):
        subject.feel({"humidity": 82.0}, 10.0)
    # One time constant of a first-order lag: 1 - 1/e.
    assert humidity(subject) == pytest.approx(92 - 10 * 0.632, abs=0.01)


def test_noise_has_the_spread_that_was_asked_for() -> None:
    subject = probe(noise=0.5, resolution=0.01)
    subject.feel(AIR, 10.0)
    values = [humidity(subject, minute) for minute in range(2000)]
    assert statistics.mean(values) == pytest.approx(92.0, abs=0.05)
    assert statistics.stdev(values) == pytest.approx(0.5, rel=0.1)


def test_values_are_rounded_to_the_resolution_and_never_past_the_ceiling() -> None:
    subject = probe(offset=0.37, resolution=0.5)
    subject.feel(AIR, 10.0)
    assert humidity(subject) == 92.5
    subject.feel({"humidity": 104.0}, 1e6)
    assert humidity(subject) == 100.0


def test_a_probe_that_sticks_repeats_its_last_value_and_follows_again_later() -> None:
    subject = probe(noise=0.3)
    subject.feel(AIR, 10.0)
    before = humidity(subject)
    subject.feel({"humidity": 60.0}, 1e6)
    assert [humidity(subject, minute, sticks=True) for minute in range(5)] == [before] * 5
    assert humidity(subject) < 65


def test_it_measures_once_a_minute_at_its_own_second() -> None:
    subject = probe()
    moments = [subject.due(ms, ms + 10_000) for ms in range(0, 600_000, 10_000)]
    taken = [at_ms for at_ms in moments if at_ms is not None]
    assert len(taken) == 10
    assert {b - a for a, b in itertools.pairwise(taken)} == {60_000}
    assert 20_000 <= taken[0] < 21_000
