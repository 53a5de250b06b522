"""The profiles that ship, parsed once, and the reference table their figures are checked against."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest

from rules.model import Quantity
from rules.profile import Figure, Stage
from rules.profile_parser import parse_profile

_ROOT: Final = Path(__file__).parents[2]

FILES: Final = sorted((_ROOT / "rules" / "profiles").glob("*.toml"))
PROFILES: Final = [parse_profile(file.read_text(encoding="utf-8"), file=file.name) for file in FILES]
BY_NAME: Final = {profile.name: profile for profile in PROFILES}
GROWN: Final = [profile for profile in PROFILES if profile.name != "cold_storage"]
"""All but the cooler of several species."""

TABLE: Final = list(
    csv.DictReader((_ROOT / "tests" / "reference" / "species_climate.csv").read_text("utf-8").splitlines())
)

_STAGES: Final = [(profile, stage) for profile in PROFILES for stage in profile.stages]
every_stage: Final = pytest.mark.parametrize(
    ("profile", "stage"), _STAGES, ids=[f"{profile.name}-{stage.name}" for profile, stage in _STAGES]
)


def band_figures(stage: Stage) -> Iterator[tuple[Quantity, Figure]]:
    """Every figure of a stage's bands that was chosen."""
    for quantity, band in stage.bands.items():
        yield from ((quantity, figure) for figure in (band.low, band.target, band.high) if figure)
