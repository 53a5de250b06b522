"""What goes out on the wire, against the rules of RFC 8428, RFC 8798 and RFC 9100, read from those texts."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from simulator import senml
from simulator.probe import Measured

pytestmark = pytest.mark.pure

AT_MS = 1_794_970_217_346
FIELDS = {"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}
"""RFC 8428, section 4 (tables of base and regular fields)."""


def readings(count: int = 3, probe: str = "lf-01") -> list[Measured]:
    return [
        Measured(probe_id=probe, quantity=quantity, at_ms=AT_MS + index * 60_000, value=value + index)
        for index in range(count)
        for quantity, value in (("temperature", 15.1), ("humidity", 92.4), ("co2", 701.0))
    ]


def resolved(payload: bytes) -> list[dict[str, Any]]:
    """Base fields applied as RFC 8428 section 4.6 says; written without the decoder of the service."""
    base: dict[str, Any] = {"bn": "", "bt": 0}
    records = []
    for record in json.loads(payload):
        assert set(record) <= FIELDS
        base.update({name: record[name] for name in ("bn", "bt", "bver") if name in record})
        name = base["bn"] + record.get("n", "")
        # RFC 8428 section 4.5.1: allowed characters, and how a name must begin.
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", name)
        assert sum(kind in record for kind in ("v", "vs", "vb", "vd")) == 1
        time_s = base["bt"] + record.get("t", 0)
        # RFC 8428 section 4.5.3: from 2**28 on a time is absolute.
        assert time_s >= 2**28
        records.append({"n": name, "u": record["u"], "v": record["v"], "t": time_s})
    # RFC 9100: feature 4, secondary units, which RFC 8798 makes of "ppm", adds 2**4 to version 10.
    assert base["bver"] == 10 + 2**4
    return records


def test_a_pack_is_valid_and_comes_back_to_the_millisecond() -> None:
    records = resolved(senml.pack("farm", readings()))
    assert [round(record["t"] * 1000) for record in records] == [r.at_ms for r in readings()]
    assert [record["v"] for record in records] == [r.value for r in readings()]
    assert [record["n"].rsplit("/", 1)[1] for record in records] == [r.quantity for r in readings()]


def test_units_are_registered_ones() -> None:
    # RFC 8428 section 12.1: Cel, %RH; RFC 8798 section 4: ppm as a secondary unit.
    assert {r["n"].rsplit("/", 1)[1]: r["u"] for r in resolved(senml.pack("farm", readings()))} == {
        "temperature": "Cel",
        "humidity": "%RH",
        "co2": "ppm",
    }


def test_each_probe_gets_its_own_topic_with_its_name() -> None:
    out = senml.packs("houseband", "farm", [*readings(1, "a"), *readings(1, "b"), *readings(1, "a")])
    assert [topic for topic, _ in out] == ["houseband/farm/a", "houseband/farm/b"]
    assert [len(resolved(payload)) for _, payload in out] == [6, 3]
    assert {record["n"].split("/")[1] for record in resolved(out[1][1])} == {"b"}


def test_a_value_that_is_no_number_never_leaves() -> None:
    broken = Measured(probe_id="a", quantity="co2", at_ms=AT_MS, value=float("nan"))
    with pytest.raises(ValueError, match="not JSON compliant"):
        senml.pack("farm", [broken])
