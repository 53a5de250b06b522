"""Every row of the reference table is in the shipped profiles, and every sourced figure of theirs is a row.

Reference: ``tests/reference/species_climate.csv``, growing figures by species and stage, each with its source and
how far to trust it. MERGED rows are a compiler's judgement over the others: they are no source, and no profile may
cite them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final, TypeAlias

import pytest

from rules.model import Quantity
from rules.profile import Basis, Figure, Profile, Stage
from tests.support.reference import uses
from tests.support.shipped import BY_NAME, GROWN, PROFILES, TABLE, band_figures, every_stage

pytestmark = pytest.mark.pure

Row: TypeAlias = dict[str, str]

BY_SPECIES: Final = {profile.species: profile for profile in GROWN}
CELLS: Final = ("low", "target", "high")

CLIMATE: Final = {
    "air_temperature": Quantity.TEMPERATURE,
    "relative_humidity": Quantity.HUMIDITY,
    "co2": Quantity.CO2,
    "substrate_temperature": Quantity.BLOCK_CORE,
    "soak_water_temperature": Quantity.SOAK_WATER,
}
DAYS: Final = {
    "duration", "flush_interval", "soak_duration", "shelf_life", "days_from_soak_to_harvest", "days_after_casing",
}  # fmt: skip
IN_WORDS: Final = {"substrate_temperature_damage"}

NOT_USED: Final = {
    "light": "no rule judges light: its hours and color count as much as its lux",
    "light_hours": "no rule judges light",
    "air_exchange": "what fans do, not what a probe shows; CO2 shows whether it is enough",
    "flush_count": "how often, not in what climate",
    "cropping_period": "of the whole crop, not of a stage",
    "biological_efficiency": "harvest, not climate",
    "first_flush_yield_of_dry_substrate": "harvest, not climate",
    "yield_fresh_per_fresh_substrate": "harvest, not climate",
    "yield_antler_only_relative": "harvest, not climate",
    "respiration_rate": "what picked mushrooms breathe out, not what they are kept in",
    "co2_deformity_threshold": "far too late for a limit, says the row itself",
}
OVERRIDDEN: Final = {
    ("pinning", "co2"): "a general rule that the rows of the species override, says the row itself",
    ("fruiting", "relative_humidity"): "a general rule; the rows of the species differ from it and were chosen",
}
WHOLE_CROP: Final = "of the whole crop, not of a stage"


def _why_not(row: Row) -> str:
    """Why a row is deliberately in no profile; empty for one that must be there, or is no source at all."""
    if row["source_id"] == "MERGED":
        return ""
    if row["species_latin"] == "(any)":
        return OVERRIDDEN.get((row["stage"], row["quantity"]), "")
    return NOT_USED.get(row["quantity"], WHOLE_CROP if row["stage"] == "whole_crop" else "")


LEFT_OUT: Final = {"species_climate.csv": _why_not}
MERGED: Final = [row for row in TABLE if row["source_id"] == "MERGED"]
NOT_MERGED: Final = [row for row in TABLE if row["source_id"] != "MERGED"]
USED: Final = [row for row in NOT_MERGED if not _why_not(row)]


def _name(row: Row) -> str:
    cells = "-".join(row[cell] or "." for cell in CELLS)
    return f"{row['species_latin']}-{row['stage']}-{row['quantity']}-{row['source_id']}-{cells}".replace(" ", "_")


def _values(row: Row) -> list[float]:
    return [float(row[cell]) for cell in CELLS if row[cell]]


def _source(row: Row) -> str:
    return "" if row["source_id"] == "CP" else row["source_id"]


def _all_figures(stage: Stage, quantity: Quantity) -> Iterator[Figure]:
    for found, figure in band_figures(stage):
        if found is quantity:
            yield from (figure, *figure.others)


def _notes(profile: Profile, stage: Stage) -> str:
    days = stage.usual_days_from.note if stage.usual_days_from else ""
    figures = " ".join(figure.note for _, figure in band_figures(stage))
    return f"{profile.note} {stage.note} {days} {figures}"


def _said(row: Row, notes: str) -> bool:
    """True when the notes name the source and every number of the row."""
    numbers = {float(found) for found in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", notes)}
    return bool(_source(row)) and _source(row) in notes and set(_values(row)) <= numbers


def _in_bands(row: Row, stage: Stage) -> bool:
    figures = list(_all_figures(stage, CLIMATE[row["quantity"]]))
    return all(
        any((f.value, f.source, f.basis.value) == (value, _source(row), row["basis"]) for f in figures)
        for value in _values(row)
    )


def _in_days(row: Row, stage: Stage) -> bool:
    """The usual days are the row's, and what it says beyond them stands in the note beside them."""
    chosen = stage.usual_days_from
    if stage.usual_days is None or chosen is None:
        return False
    if (chosen.source, chosen.basis.value) != (_source(row), row["basis"]):
        return False
    beside = {float(found) for found in re.findall(r"\d+(?:\.\d+)?", chosen.note)}
    return set(stage.usual_days) <= set(_values(row)) <= {*stage.usual_days, *beside}


def _profiles_of(row: Row) -> list[Profile]:
    return GROWN if row["species_latin"] == "(any)" else [BY_SPECIES[row["species_latin"]]]


@pytest.mark.parametrize("row", USED, ids=_name)
def test_a_row_of_the_table_is_in_its_profile(row: Row) -> None:
    """As a figure that was chosen, as another beside it, as usual days, or in a note that names source and number.

    The notes are for days that were not chosen and for CO2 that is meant inside the bag, where a room has no band.
    """
    for profile in _profiles_of(row):
        if row["species_latin"] == "(any)" and profile.name == "white_button":
            continue  # compost has figures of its own (S16), all below the 35 of the general rule
        stage = profile.stage(row["stage"])
        notes = _notes(profile, stage)
        if row["quantity"] in DAYS:
            assert _in_days(row, stage) or _said(row, notes), f"{profile.name} {stage.name}: {stage.usual_days}"
        elif row["quantity"] in IN_WORDS:
            assert _said(row, notes)
        elif row["quantity"] == "co2" and Quantity.CO2 not in stage.bands:
            assert _said(row, stage.note)
        else:
            assert _in_bands(row, stage), f"{profile.name} {stage.name}: {notes}"


def test_every_row_is_used_or_has_a_reason_not_to_be() -> None:
    left = [row for row in USED if row["quantity"] not in {*CLIMATE, *DAYS, *IN_WORDS}]
    assert [_name(row) for row in left] == []
    quantities = {row["quantity"] for row in NOT_MERGED}
    assert set(NOT_USED) <= quantities, "a reason for what the table does not hold"


def test_every_species_and_stage_of_the_table_is_there_and_no_other() -> None:
    """Stages that the table does not have must be judgements throughout."""
    of_table: dict[str, set[str]] = {}
    for row in TABLE:
        if row["species_latin"] != "(any)" and row["stage"] != "whole_crop":
            of_table.setdefault(row["species_latin"], set()).add(row["stage"])
    assert set(of_table) == set(BY_SPECIES)
    for species, stages in of_table.items():
        assert {stage.name for stage in BY_SPECIES[species].stages} == stages, species


@uses(*MERGED)
def test_no_profile_cites_a_merged_row_or_a_limit_for_people() -> None:
    """M12 are limits for people, MERGED rows are a compiler's judgement."""
    for profile in PROFILES:
        assert not {"MERGED", "M12"} & set(profile.sources), profile.name
        for stage in profile.stages:
            assert "MERGED" not in _notes(profile, stage), f"{profile.name} {stage.name}"


def _rows_behind(profile: Profile, stage: Stage, quantity: Quantity, figure: Figure) -> Iterator[Row]:
    """Rows that a figure may have come from; the cooler holds every species, S01 speaks of any."""
    for row in TABLE:
        same = row["species_latin"] in {profile.species, "(any)"} or profile.name == "cold_storage"
        if same and row["stage"] == stage.name and CLIMATE.get(row["quantity"]) is quantity:
            own = _source(row) == figure.source and row["basis"] == figure.basis.value
            # A merged row only bears witness to an edge that it calls common practice itself.
            practice = row["source_id"] == "MERGED" and figure.basis is Basis.COMMON_PRACTICE
            if own or (practice and "common practice" in f"{row['basis']} {row['note']}"):
                yield row


@every_stage
def test_every_figure_with_a_source_is_a_row_of_that_source(profile: Profile, stage: Stage) -> None:
    for quantity, chosen in band_figures(stage):
        for figure in (chosen, *chosen.others):
            if figure.basis is not Basis.JUDGEMENT:
                rows = _rows_behind(profile, stage, quantity, figure)
                assert any(figure.value in _values(row) for row in rows), f"{quantity} {figure}"


@every_stage
def test_usual_days_are_a_row_of_their_source(profile: Profile, stage: Stage) -> None:
    if stage.usual_days is None or stage.usual_days_from is None or stage.name == "soak":
        return  # soak hours are common practice of block farms and have no row; M02 stands in the note
    rows = [
        row
        for row in TABLE
        if row["species_latin"] == profile.species and row["stage"] == stage.name and row["quantity"] in DAYS
    ]
    assert any(_in_days(row, stage) for row in rows), f"{profile.name} {stage.name} {stage.usual_days}"


def test_a_choice_that_a_row_contradicts_keeps_that_row_beside_it() -> None:
    """The disagreements that the collector of the table lists, one by one."""
    beside = {
        ("shiitake", "fruiting", Quantity.HUMIDITY, 60.0, "S08"),
        ("grey_oyster", "incubation", Quantity.TEMPERATURE, 20.0, "S17"),
        ("king_oyster", "fruiting", Quantity.TEMPERATURE, 21.0, "S10"),
        ("king_oyster", "fruiting", Quantity.HUMIDITY, 75.0, "M07"),
        ("enoki", "fruiting", Quantity.TEMPERATURE, 8.0, "M11"),
        ("pioppino", "fruiting", Quantity.TEMPERATURE, 21.0, "S13"),
        ("pioppino", "fruiting", Quantity.HUMIDITY, 95.0, "S14"),
        ("white_button", "fruiting", Quantity.TEMPERATURE, 14.0, "M01"),
    }
    kept = {
        (profile.name, stage.name, quantity, other.value, other.source)
        for profile in PROFILES
        for stage in profile.stages
        for quantity, figure in band_figures(stage)
        for other in figure.others
    }
    assert beside <= kept
    assert "S22 found 26" in _notes(BY_NAME["pink_oyster"], BY_NAME["pink_oyster"].stage("incubation"))
