"""A week in a real office, February 2015: temperature, humidity and CO2, about once a minute.

Candanedo and Feldheim (2016), Energy and Buildings 112:28-39. The file is not part of this project (its authors
ask for citation, its licence should be checked before passing it on): tests that want it are skipped without it.
"""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import pytest

from rules.model import Instant, Quantity

WEEK: Final = Path(__file__).parents[3] / "shared" / "real" / "office_room_one_week.csv"
ROWS: Final = 8143

with_the_week = pytest.mark.skipif(not WEEK.exists(), reason="the real room's week is not on this machine")

_COLUMNS: Final = {
    Quantity.TEMPERATURE: "temperature_c",
    Quantity.HUMIDITY: "relative_humidity_pct",
    Quantity.CO2: "co2_ppm",
}


def measured() -> list[tuple[Instant, dict[Quantity, float]]]:
    """What was measured at each moment. The file has the room's own time without a zone: taken as UTC here."""
    with WEEK.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    moments = [datetime.fromisoformat(row["time_local"]).replace(tzinfo=UTC) for row in rows]
    return [
        (round(moment.timestamp() * 1000), {q: float(row[column]) for q, column in _COLUMNS.items()})
        for moment, row in zip(moments, rows, strict=True)
    ]
