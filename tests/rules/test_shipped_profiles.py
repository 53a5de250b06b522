"""The profiles that ship: their figures, their limits, and what must never stand in one.

That every row of the reference table is in one of them is ``test_species_climate.py``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from rules.model import MINUTE_MS, Quantity, Side
from rules.profile import Basis, Figure, Profile, Stage, TextLimit
from rules.profile_limits import probe_accuracy
from tests.support.shipped import BY_NAME, FILES, GROWN, PROFILES, band_figures, every_stage

pytestmark = pytest.mark.pure

PEOPLE_LIMITS_PPM = {5000.0, 30_000.0, 40_000.0}
PROBE_POINTS = 2.0
LOW_HUMIDITY = (Quantity.HUMIDITY, Side.LOW)
TENDER = {"pinning", "antler", "fruiting"}

every_grown = pytest.mark.parametrize("profile", GROWN, ids=[profile.name for profile in GROWN])


def _limits(profile: Profile, stages: set[str], key: tuple[Quantity, Side]) -> Iterator[TextLimit]:
    for stage in profile.stages:
        if stage.name in stages and key in stage.text_limits:
            yield stage.text_limits[key]


def _co2_figures(stage: Stage) -> Iterator[Figure]:
    yield from (figure for quantity, figure in band_figures(stage) if quantity is Quantity.CO2)
    for (quantity, _), text in stage.text_limits.items():
        if quantity is Quantity.CO2:
            yield text.limit
            yield from [text.far_limit] if text.far_limit else []


def _every_figure(profile: Profile) -> Iterator[Figure]:
    for stage in profile.stages:
        for _, figure in band_figures(stage):
            yield from (figure, *figure.others)
        if stage.usual_days_from:
            yield stage.usual_days_from


def test_every_species_ships_under_its_own_name() -> None:
    assert set(BY_NAME) == {
        "shiitake", "grey_oyster", "phoenix_oyster", "pink_oyster", "king_oyster", "lions_mane", "maitake",
        "beech", "enoki", "nameko", "chestnut", "white_button", "reishi", "pioppino", "cold_storage",
    }  # fmt: skip
    assert [file.stem for file in FILES] == [profile.name for profile in PROFILES]
    for names in ([p.text_name for p in PROFILES], [p.species for p in PROFILES], [p.label for p in PROFILES]):
        assert len(set(names)) == len(PROFILES)


def test_shiitake_has_all_its_stages_in_the_order_of_the_crop() -> None:
    names = [stage.name for stage in BY_NAME["shiitake"].stages]
    assert names == ["incubation", "browning", "soak", "pinning", "fruiting", "rest", "storage"]


@every_stage
def test_a_judgement_and_a_choice_between_sources_say_why(profile: Profile, stage: Stage) -> None:
    for quantity, figure in band_figures(stage):
        if figure.basis is Basis.JUDGEMENT or figure.others:
            assert figure.note, f"{profile.name} {quantity} {figure.value}"


def test_soak_hours_are_common_practice_with_the_recalled_figure_beside() -> None:
    """8 to 12 h for blocks is common practice; M02 (2 to 4 h) is recalled and kept in the note."""
    soak = BY_NAME["shiitake"].stage("soak")
    assert soak.usual_days == (8 / 24, 12 / 24)
    assert soak.usual_days_from is not None
    assert soak.usual_days_from.basis is Basis.COMMON_PRACTICE
    assert "M02, from memory: 2 to 4 hours" in soak.usual_days_from.note


def test_a_soak_is_judged_by_its_water_alone() -> None:
    assert set(BY_NAME["shiitake"].stage("soak").bands) == {Quantity.SOAK_WATER}


@every_stage
def test_text_limits_are_judgements_with_a_reason_and_stand_outside_the_band(
    profile: Profile, stage: Stage
) -> None:
    for (quantity, side), text in stage.text_limits.items():
        band = stage.bands[quantity]
        edge = band.low if side is Side.LOW else band.high
        assert edge is not None
        assert text.limit.basis is Basis.JUDGEMENT
        assert text.limit.note
        outside = edge.value - text.limit.value if side is Side.LOW else text.limit.value - edge.value
        assert outside >= probe_accuracy(quantity, edge.value) + text.recover_margin, profile.name


@every_stage
def test_no_limit_for_people_stands_in_a_profile(profile: Profile, stage: Stage) -> None:
    """5000, 30000 and 40000 ppm protect people (OSHA, NIOSH, ACGIH). As a crop's edge, 5000 names its book."""
    for figure in _co2_figures(stage):
        if figure.value in PEOPLE_LIMITS_PPM:
            assert figure.basis in {Basis.READ, Basis.FROM_MEMORY}, f"{profile.name} {stage.name} {figure}"
            assert figure.source in {"S11", "S16", "M04"}, f"{profile.name} {stage.name} {figure}"


def test_a_room_has_no_co2_band_for_what_is_meant_inside_the_bag() -> None:
    """S08, S15, S03, S10, S12, S11, S02, M04 and S09 speak of the level at the mycelium or inside the bag."""
    closed = [(p, s) for p in GROWN for s in p.stages if s.name in {"incubation", "ripening"}]
    with_band = {profile.name for profile, stage in closed if Quantity.CO2 in stage.bands}
    assert with_band == {"white_button"}, "S16 speaks of the room: no fresh air"
    assert Quantity.CO2 not in BY_NAME["reishi"].stage("antler").bands


def test_only_stages_kept_above_the_limit_for_people_are_marked_to_be_aired_out_first() -> None:
    """OSHA and NIOSH: 5000 ppm over a working day (from memory)."""
    marked = {(p.name, s.name) for p in PROFILES for s in p.stages if s.above_people_limit}
    kept_above = {
        (profile.name, stage.name)
        for profile in PROFILES
        for stage in profile.stages
        if (co2 := stage.bands.get(Quantity.CO2)) and co2.target and co2.target.value > 5000
    }
    assert marked == kept_above == {("white_button", "incubation"), ("white_button", "case_run")}


def test_co2_has_a_low_edge_where_fresh_air_harms_the_crop_and_nowhere_else() -> None:
    """S02 enoki, S11 maitake, S16 button, M04 reishi, M05 beech; 400 to 800 ppm is hardly above outdoors."""
    low = {
        (profile.name, stage.name)
        for profile in PROFILES
        for stage in profile.stages
        if Quantity.CO2 in stage.bands and stage.bands[Quantity.CO2].low
    }
    assert low == {
        ("enoki", "pinning"), ("enoki", "fruiting"), ("beech", "fruiting"),
        ("maitake", "pinning"), ("maitake", "antler"), ("reishi", "pinning"),
        ("white_button", "incubation"), ("white_button", "case_run"),
    }  # fmt: skip
    told = {key for key in low if (Quantity.CO2, Side.LOW) in BY_NAME[key[0]].stage(key[1]).text_limits}
    assert low - told == {("white_button", "incubation")}, "spawn run makes its own CO2"


def test_the_co2_band_of_maitake_turns_round_when_the_antlers_open() -> None:
    """S11: 2000 to 5000 ppm through pins and antlers, then under 1000."""
    antler, fruiting = (BY_NAME["maitake"].stage(name).bands[Quantity.CO2] for name in ("antler", "fruiting"))
    assert antler.low is not None
    assert fruiting.high is not None
    assert fruiting.high.value < antler.low.value
    assert fruiting.low is None
    assert BY_NAME["maitake"].stage("fruiting").ramp_ms == 60 * MINUTE_MS


def test_pinning_and_fruiting_of_lions_mane_do_not_touch() -> None:
    """S12: pins at 10 to 15.6, fruiting at 18 to 24."""
    pins, fruiting = (
        BY_NAME["lions_mane"].stage(name).bands[Quantity.TEMPERATURE] for name in ("pinning", "fruiting")
    )
    assert pins.high is not None
    assert fruiting.low is not None
    assert pins.high.value < fruiting.low.value
    assert BY_NAME["lions_mane"].stage("fruiting").ramp_ms > 0


@every_grown
def test_92_falling_to_70_crosses_the_limit_of_pins_and_fruiting_once(profile: Profile) -> None:
    """Common practice: in a misted house such a fall is a failure. A probe 2 points off changes nothing."""
    for text in _limits(profile, TENDER, LOW_HUMIDITY):
        assert 70 + PROBE_POINTS < text.limit.value < 92 - PROBE_POINTS
        assert text.limit.value + text.recover_margin <= 92 - PROBE_POINTS
        assert text.far_limit is not None
        assert text.far_limit.value < 70 - PROBE_POINTS, "a fall to 70 must not speak a second time"


@every_grown
def test_pins_and_caps_are_told_below_the_usual_and_sooner_when_it_comes_fast(profile: Profile) -> None:
    """Judgement: 12 points below the usual, 18 points within a quarter of an hour."""
    for name in ("pinning", "fruiting"):
        text = profile.stage(name).text_limits[LOW_HUMIDITY]
        assert text.below_usual == 12
        assert text.fast is not None
        assert text.fast.change == 18
        assert text.fast.wait_ms < text.wait_ms


def test_75_percent_while_resting_is_inside_the_band_and_crosses_nothing() -> None:
    rest = BY_NAME["shiitake"].stage("rest")
    band = rest.bands[Quantity.HUMIDITY]
    assert band.low is not None
    assert band.high is not None
    assert band.low.value <= 75 - PROBE_POINTS < 75 + PROBE_POINTS <= band.high.value
    assert rest.text_limits[LOW_HUMIDITY].limit.value < 75 - PROBE_POINTS
    assert (Quantity.HUMIDITY, Side.HIGH) not in rest.text_limits


@every_stage
def test_a_fogged_night_while_pinning_makes_no_text(profile: Profile, stage: Stage) -> None:
    if stage.name in TENDER:
        assert (Quantity.HUMIDITY, Side.HIGH) not in stage.text_limits, profile.name


@every_grown
def test_waits_are_shortest_for_pins_and_longest_for_rest(profile: Profile) -> None:
    """Judgement: no standard gives waits for humidity or CO2."""
    waits = [
        next(_limits(profile, {name}, LOW_HUMIDITY)).wait_ms
        for name in ("pinning", "fruiting", "rest")
        if name != "rest" or any(stage.name == "rest" for stage in profile.stages)
    ]
    assert waits == sorted(waits)
    assert len(waits) == 2 or waits[1] < waits[2]


@every_stage
def test_a_cooler_waits_longer_than_a_defrost_and_speaks_before_frost_does_harm(
    profile: Profile, stage: Stage
) -> None:
    """A defrost of 15 to 45 minutes is normal; mushrooms freeze a degree or so under zero (common practice)."""
    if stage.name == "storage":
        assert stage.text_limits[Quantity.TEMPERATURE, Side.HIGH].wait_ms > 45 * MINUTE_MS, profile.name
        assert stage.text_limits[Quantity.TEMPERATURE, Side.LOW].limit.value >= -1.5


@pytest.mark.parametrize("profile", PROFILES, ids=list(BY_NAME))
def test_every_source_is_used_or_weighed_in_a_note_and_none_is_a_link(profile: Profile) -> None:
    figures = list(_every_figure(profile))
    notes = [figure.note for figure in figures] + [stage.note for stage in profile.stages] + [profile.note]
    for key, description in profile.sources.items():
        assert any(key == figure.source for figure in figures) or any(key in note for note in notes), key
        assert not re.search(r"https?:|www\.|\.(com|org|net|sk)\b", description)


@pytest.mark.parametrize("file", FILES, ids=[file.stem for file in FILES])
def test_a_file_opens_with_what_it_is_and_how_far_to_trust_it(file: Path) -> None:
    head = file.read_text(encoding="utf-8").partition("\nname =")[0]
    assert head.startswith("# ")
    for said in ("band to", "somebody is told", "judgement", "limits for people are not here"):
        assert said in head
