"""A real room's week, where its authors published the humidity ratio that they computed.

Candanedo and Feldheim (2016), Energy and Buildings 112:28-39. The file is not part of this project (its authors
ask for citation, its licence should be checked before passing it on): the test is skipped where it is absent.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from rules import derive

pytestmark = pytest.mark.pure

WEEK = Path(__file__).parents[2].parent / "shared" / "real" / "office_room_one_week.csv"


@pytest.mark.skipif(not WEEK.exists(), reason="the real room's week is not on this machine")
def test_the_published_humidity_ratio_of_a_real_room_is_met_within_a_thousandth() -> None:
    with WEEK.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    temperature = np.array([float(row["temperature_c"]) for row in rows])
    humidity = np.array([float(row["relative_humidity_pct"]) for row in rows])
    published = np.array([float(row["humidity_ratio_published"]) for row in rows])
    assert len(rows) > 5000
    np.testing.assert_allclose(derive.humidity_ratio(temperature, humidity), published, rtol=1e-3)
