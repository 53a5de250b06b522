"""The profiles that ship: every band figure has a row in the reference table or says that it is a judgement.

Reference: ``tests/reference/species_climate.csv``, growing figures by species and stage with source and basis as
collected for this project (MERGED rows are the collector's judgement and are not used as a source).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from rules.model import MINUTE_MS, Quantity, Side
from rules.profile import Basis, Figure, Profile, Stage, TextLimit
from rules.profile_limits import probe_accuracy
from rules.profile_parser import parse_profile

pytestmark = pytest.mark.pure

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "rules" / "profiles").glob("*.toml"))
PROFILES = [parse_profile(file.read_text(encoding="utf-8"), file=file.name) for file in FILES]
BY_NAME = {profile.name: profile for profile in PROFILES}
ROWS = list(
    csv.DictReader((ROOT / "tests" / "reference" / "species_climate.csv").read_text(encoding="utf-8").splitlines())
)

COLUMN = {
    "temperature": "air_temperature",
    "humidity": "relative_humidity",
    "co2": "co2",
    "soak_water": "soak_water_temperature",
}
DURATIONS = {"duration", "flush_interval", "soak_duration"}
PEOPLE_LIMITS_PPM = {5000.0, 30_000.0, 40_000.0}
PROBE_POINTS = 2.0

STAGES = [(profile, stage) for profile in PROFILES for stage in profile.stages]
STAGE_IDS = [f"{profile.name}-{stage.name}" for profile, stage in STAGES]
every_stage = pytest.mark.parametrize(("profile", "stage"), STAGES, ids=STAGE_IDS)


def _band_figures(stage: Stage) -> Iterator[tuple[Quantity, Figure]]:
    for quantity, band in stage.bands.items():
        yield from ((quantity, figure) for figure in (band.low, band.target, band.high) if figure)


def _rows(profile: Profile, stage: Stage, figure: Figure) -> Iterator[dict[str, str]]:
    """Rows that a figure may have come from; the cooler holds every species."""
    source = "CP" if figure.basis is Basis.COMMON_PRACTICE else figure.source
    for row in ROWS:
        same_species = row["species_latin"] == profile.species or stage.name == "storage"
        if same_species and row["stage"] == stage.name and row["source_id"] in {source, "MERGED"}:
            yield row


def _holds(row: dict[str, str], value: float) -> bool:
    return any(row[column] and float(row[column]) == value for column in ("low", "target", "high"))


def _limits(profile: Profile, stages: set[str], key: tuple[Quantity, Side]) -> Iterator[TextLimit]:
    for stage in profile.stages:
        if stage.name in stages:
            yield stage.text_limits[key]


def test_every_species_of_the_farm_ships_under_its_own_name() -> None:
    assert set(BY_NAME) == {"shiitake", "grey_oyster", "nameko", "pioppino", "chestnut", "cold_storage"}
    assert [file.stem for file in FILES] == [profile.name for profile in PROFILES]
    assert len({profile.text_name for profile in PROFILES}) == len(PROFILES)


def test_shiitake_has_all_its_stages_in_the_order_of_the_crop() -> None:
    names = [stage.name for stage in BY_NAME["shiitake"].stages]
    assert names == ["incubation", "browning", "soak", "pinning", "fruiting", "rest"]


@every_stage
def test_every_band_figure_is_a_row_of_its_source_or_says_judgement(profile: Profile, stage: Stage) -> None:
    for quantity, figure in _band_figures(stage):
        if figure.basis is Basis.JUDGEMENT:
            assert figure.note, f"{quantity} {figure.value}: a judgement says what it weighs"
            continue
        rows = [row for row in _rows(profile, stage, figure) if row["quantity"] == COLUMN[quantity]]
        own = [row for row in rows if row["source_id"] != "MERGED" and row["basis"] == figure.basis]
        # A merged row is only good for an end that its own note calls common practice.
        merged = [row for row in rows if row["source_id"] == "MERGED" and "common practice" in row["note"]]
        practice = merged if figure.basis is Basis.COMMON_PRACTICE else []
        assert any(_holds(row, figure.value) for row in own + practice), f"{quantity} {figure}"


@every_stage
def test_usual_days_are_a_row_of_their_source(profile: Profile, stage: Stage) -> None:
    if stage.usual_days is None or stage.usual_days_from is None or stage.name == "soak":
        return
    rows = [row for row in _rows(profile, stage, stage.usual_days_from) if row["quantity"] in DURATIONS]
    shortest, longest = stage.usual_days
    assert any(_holds(row, shortest) and _holds(row, longest) for row in rows)


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
    """5000, 30000 and 40000 ppm protect people (OSHA, NIOSH, ACGIH), not a crop."""
    band = stage.bands.get(Quantity.CO2)
    figures = [figure for quantity, figure in _band_figures(stage) if quantity is Quantity.CO2]
    for (quantity, _), text in stage.text_limits.items():
        if quantity is Quantity.CO2:
            figures += [text.limit] + ([text.far_limit] if text.far_limit else [])
    assert not {figure.value for figure in figures} & PEOPLE_LIMITS_PPM, profile.name
    assert stage.name != "incubation" or band is None


@pytest.mark.parametrize("name", ["shiitake", "grey_oyster", "nameko", "pioppino", "chestnut"])
def test_92_falling_to_70_crosses_the_limit_of_pins_and_fruiting(name: str) -> None:
    """Common practice: in a misted house such a fall is a failure. A probe 2 points off changes nothing."""
    for text in _limits(BY_NAME[name], {"pinning", "fruiting"}, (Quantity.HUMIDITY, Side.LOW)):
        assert 70 + PROBE_POINTS < text.limit.value < 92 - PROBE_POINTS
        assert text.limit.value + text.recover_margin <= 92 - PROBE_POINTS


def test_75_percent_while_resting_is_inside_the_band_and_crosses_nothing() -> None:
    rest = BY_NAME["shiitake"].stage("rest")
    band = rest.bands[Quantity.HUMIDITY]
    assert band.low is not None
    assert band.high is not None
    assert band.low.value <= 75 - PROBE_POINTS < 75 + PROBE_POINTS <= band.high.value
    assert rest.text_limits[Quantity.HUMIDITY, Side.LOW].limit.value < 75 - PROBE_POINTS
    assert (Quantity.HUMIDITY, Side.HIGH) not in rest.text_limits


@every_stage
def test_an_ordinary_night_at_target_crosses_nothing(profile: Profile, stage: Stage) -> None:
    """With a probe as far off as ordinary probes are."""
    for (quantity, side), text in stage.text_limits.items():
        target = stage.bands[quantity].target
        if target is not None:
            slack = probe_accuracy(quantity, target.value)
            inside = (
                target.value - slack > text.limit.value
                if side is Side.LOW
                else target.value + slack < text.limit.value
            )
            assert inside, f"{profile.name} {stage.name} {quantity}"


@every_stage
def test_a_fogged_night_while_pinning_makes_no_text(profile: Profile, stage: Stage) -> None:
    if stage.name in {"pinning", "fruiting"}:
        assert (Quantity.HUMIDITY, Side.HIGH) not in stage.text_limits, profile.name


def test_waits_are_shortest_for_pins_and_longest_for_rest() -> None:
    """Judgement: no standard gives waits for humidity or CO2."""
    for name in ("shiitake", "grey_oyster", "nameko", "pioppino", "chestnut"):
        key = (Quantity.HUMIDITY, Side.LOW)
        pins, fruiting, rest = (next(_limits(BY_NAME[name], {s}, key)) for s in ("pinning", "fruiting", "rest"))
        assert pins.wait_ms <= fruiting.wait_ms < rest.wait_ms


def test_the_cooler_waits_longer_than_a_defrost() -> None:
    """A defrost of 15 to 45 minutes is normal (common practice)."""
    high = BY_NAME["cold_storage"].stage("storage").text_limits[Quantity.TEMPERATURE, Side.HIGH]
    assert high.wait_ms > 45 * MINUTE_MS


def _every_figure(profile: Profile) -> Iterator[Figure]:
    for stage in profile.stages:
        yield from (figure for _, figure in _band_figures(stage))
        if stage.usual_days_from:
            yield stage.usual_days_from


@pytest.mark.parametrize("profile", PROFILES, ids=list(BY_NAME))
def test_every_source_is_used_or_weighed_in_a_note_and_none_is_a_link(profile: Profile) -> None:
    figures = list(_every_figure(profile))
    for key, description in profile.sources.items():
        assert any(key == figure.source or key in figure.note for figure in figures), key
        assert not re.search(r"https?:|www\.|\.(com|org|net|sk)\b", description)
