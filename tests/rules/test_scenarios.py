"""Nights told as a grower would tell them (``scenarios/*.toml``), and what must come out of each.

What must come out was worked out by hand from the figures that stand in each file; all nights are invented. The
meaning of wait, margin and recover time is that of OPC 10000-9 (UA Part 9), B.1.5; the rest are this project's
own rules. Tolerances stand in the files.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from rules.model import SECOND_MS
from tests.support.scenario_air import Arrival, arrivals
from tests.support.scenario_clock import FarmClock
from tests.support.scenario_form import Said, Scenario, as_ms, key_of, read_scenario
from tests.support.scenario_night import Heard, Night, run

pytestmark = pytest.mark.pure

FILES = sorted((Path(__file__).parent / "scenarios").glob("*.toml"))
NAMES = [path.stem for path in FILES]
LEAST = 40

by_file = pytest.mark.parametrize("path", FILES, ids=NAMES)


@cache
def _read(path: Path) -> tuple[Scenario, FarmClock, list[Arrival]]:
    scenario = read_scenario(path)
    midnight = FarmClock(zone=scenario.night.zone)
    clock = replace(midnight, begins_ms=midnight.moment(scenario.night.begins))
    return scenario, clock, arrivals(scenario, clock)


@cache
def _night(path: Path) -> Night:
    return run(*_read(path))


@by_file
def test_the_night_says_what_it_must_and_nothing_else(path: Path) -> None:
    scenario, clock, _ = _read(path)
    heard = _night(path).heard
    must = () if scenario.result.says == "nothing" else scenario.result.says
    listed = "".join(f"\n  {clock.shows(one.at_ms)} {one.what} {' '.join(one.key)}" for one in heard)
    wrong = [one for one, said in zip(heard, must, strict=False) if _differs(one, said, scenario, clock)]

    assert (len(heard), wrong) == (len(must), []), f"{scenario.title}\nheard:{listed or ' nothing'}"


def _differs(heard: Heard, said: Said, scenario: Scenario, clock: FarmClock) -> bool:
    off_ms = abs(heard.at_ms - clock.moment(said.at))
    facts = ("batch", "place", "value", "worst")
    told = {fact: getattr(heard, fact) for fact in facts if getattr(said, fact) is not None}
    return (
        off_ms > as_ms(scenario.result.within_minutes)
        or (heard.what, heard.key) != (said.what, key_of(said.about))
        or told != {fact: getattr(said, fact) for fact in told}
    )


@by_file
def test_a_moment_beyond_the_tolerance_is_noticed(path: Path) -> None:
    scenario, clock, _ = _read(path)
    says = () if scenario.result.says == "nothing" else scenario.result.says
    late_ms = as_ms(scenario.result.within_minutes) + SECOND_MS
    for heard, said in zip(_night(path).heard, says, strict=True):
        later = replace(heard, at_ms=clock.moment(said.at) + late_ms)
        other = replace(heard, what="something else")
        assert not _differs(heard, said, scenario, clock)
        assert _differs(later, said, scenario, clock)
        assert _differs(other, said, scenario, clock)


QUIET = [path for path in FILES if read_scenario(path).result.says == "nothing"]


@pytest.mark.parametrize("path", QUIET, ids=[path.stem for path in QUIET])
def test_a_night_that_says_nothing_was_watched(path: Path) -> None:
    """Its limit was in force over known values; and with the probes at another value the same night does speak."""
    scenario, clock, come = _read(path)
    would = scenario.result.but_would_at
    assert would is not None
    key = key_of(would.about)
    worse = [
        replace(one, reading=replace(one.reading, value=would.value)) if one.reading.quantity is key[0] else one
        for one in come
    ]

    assert _night(path).known_minutes.get(key, 0) >= 30
    assert key in {heard.key for heard in run(scenario, clock, worse).heard}


def test_there_are_enough_of_them_and_each_has_an_idea_of_its_own() -> None:
    titles = [_read(path)[0].title for path in FILES]

    assert len(FILES) >= LEAST
    assert len(set(titles)) == len(titles)


# --- the form -------------------------------------------------------------------------------------------------


def _form(**changes: Any) -> dict[str, Any]:
    usual: dict[str, Any] = {
        "title": "A night made up for a test",
        "why": "To see what the form refuses",
        "night": {"begins": "2026-11-25 22:00", "ends": "2026-11-25 23:00"},
        "crop": [{"profile": "shiitake", "stage": "rest"}],
        "probe": [{"humidity": [{"hold": 70}]}],
        "result": {"within_minutes": 0, "says": "nothing", "but_would_at": {"about": "humidity low", "value": 1}},
    }
    return {**usual, **changes}


def test_the_form_takes_what_it_should() -> None:
    assert Scenario.model_validate(_form()).night.zone == "America/New_York"


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"humidty": 1}, "humidty"),
        ({"probe": [{"humidity": [{"hold": 70, "minuts": 3}]}]}, "minuts"),
        ({"probe": [{"humidity": [{"hold": 70, "stuck": True}]}]}, "one thing"),
        ({"probe": [{"humidity": [{"says": [1.0], "minutes": 3}]}]}, "as long as"),
        ({"night": {"begins": "ten", "ends": "2026-11-25 23:00"}}, "begins"),
        ({"crop": [{"stage": "rest"}]}, "one of the two"),
        ({"result": {"within_minutes": 0, "says": "nothing"}}, "only such a night"),
        ({"result": {"within_minutes": 0, "says": [{"at": "22:10", "what": "call", "about": "co2 low"}]}}, "what"),
    ],
)
def test_the_form_refuses_what_nobody_would_notice(changes: dict[str, Any], where: str) -> None:
    with pytest.raises(ValidationError, match=where):
        Scenario.model_validate(_form(**changes))


@pytest.mark.parametrize(
    "pieces",
    [
        [{"hold": 70, "minutes": 30}],  # then nobody knows
        [{"hold": 70, "minutes": 90}],  # longer than the night
        [{"hold": 70, "until": "22:30"}, {"hold": 71, "until": "22:20"}],
    ],
)
def test_pieces_fill_the_night(pieces: list[dict[str, Any]]) -> None:
    scenario = Scenario.model_validate(_form(probe=[{"humidity": pieces}]))
    clock = FarmClock(zone="America/New_York")
    with pytest.raises(ValueError, match="piece"):
        arrivals(scenario, replace(clock, begins_ms=clock.moment(scenario.night.begins)))


@pytest.mark.parametrize("shown", ["2026-03-08 02:30", "2026-11-25 01:30 again"])
def test_the_clock_refuses_what_it_never_shows(shown: str) -> None:
    with pytest.raises(ValueError, match="does not show"):
        FarmClock(zone="America/New_York").moment(shown)
