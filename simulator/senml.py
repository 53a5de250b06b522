"""Readings as SenML packs (RFC 8428), written here alone so that the service's decoder meets a stranger."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable
from typing import Final

from simulator.probe import Measured

UNIT: Final = {"temperature": "Cel", "humidity": "%RH", "co2": "ppm"}
SECONDARY_UNITS_VERSION: Final = 26
"""Version 10 plus the feature "secondary units" (RFC 9100), which ``ppm`` is (RFC 8798)."""


def pack(farm_id: str, readings: list[Measured]) -> bytes:
    """One pack of one probe's readings; times relative to the first, to the millisecond."""
    first = readings[0]
    base = {
        "bver": SECONDARY_UNITS_VERSION,
        "bn": f"{farm_id}/{first.probe_id}/",
        "bt": first.at_ms / 1000,
    }
    records: list[dict[str, object]] = []
    for reading in readings:
        record: dict[str, object] = {"n": reading.quantity, "u": UNIT[reading.quantity], "v": reading.value}
        if reading.at_ms != first.at_ms:
            record["t"] = (reading.at_ms - first.at_ms) / 1000
        records.append(record)
    records[0] = base | records[0]
    return json.dumps(records, separators=(",", ":"), allow_nan=False).encode()


def packs(prefix: str, farm_id: str, readings: Iterable[Measured]) -> list[tuple[str, bytes]]:
    """Topic and pack for every probe among the readings, in order of time within each probe."""
    by_probe: dict[str, list[Measured]] = defaultdict(list)
    for reading in readings:
        by_probe[reading.probe_id].append(reading)
    return [(f"{prefix}/{farm_id}/{probe}", pack(farm_id, found)) for probe, found in by_probe.items()]
