"""What a probe sends: one moment as a SenML pack (RFC 8428)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from rules.model import UNIT, Instant, Quantity


def pack(at_ms: Instant, values: Mapping[Quantity, float]) -> bytes:
    """All values of one probe at one moment. The unit ppm is of RFC 8798, hence the version."""
    first: dict[str, Any] = {"bver": 26, "bt": at_ms / 1000}
    records = [{"n": quantity.value, "u": UNIT[quantity], "v": value} for quantity, value in values.items()]
    return json.dumps([first | records[0], *records[1:]]).encode()
