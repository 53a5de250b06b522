"""SenML and MQTT against the standards' own examples and rules; each row of the files names its source."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from rules.model import Quantity
from service.messages import Reason
from service.wire.senml import FIRST_ABSOLUTE_S, VERSION_WITH_SECONDARY_UNITS, Pack, is_name, resolve
from service.wire.sources import parse_sources
from service.wire.topics import is_topic_name
from service.wire.units import SECONDARY, check_unit, to_own, units_for
from service.wire.unusable import UnusableError

pytestmark = pytest.mark.pure

REFERENCE = Path(__file__).parents[2] / "reference"
NOW_MS = 1_790_000_000_000


def rows(file: str, *kinds: str) -> list[Any]:
    with (REFERENCE / file).open(newline="") as opened:
        found = [row for row in csv.DictReader(opened) if (row.get("quantity") or row.get("kind")) in kinds]
    return [pytest.param(row, id=row["id"]) for row in found]


def resolved(*records: dict[str, Any], received_ms: int = NOW_MS) -> Pack:
    return resolve(list(records), received_ms=received_ms)


@pytest.mark.parametrize("row", rows("senml.csv", "senml_resolve"))
def test_a_pack_of_the_standard_resolves_as_the_standard_says(row: dict[str, str]) -> None:
    pack = resolved(*json.loads(row["inputs"]))
    expected = sorted(json.loads(row["expected"]), key=lambda record: record["t"])
    assert [(record.name, record.unit, record.at_ms, record.value) for record in pack.records] == [
        (record["n"], record["u"], round(record["t"] * 1000), record["v"]) for record in expected
    ]
    assert not pack.broken


@pytest.mark.parametrize("row", rows("senml.csv", "senml_time"))
def test_times_below_2_to_the_28_count_from_now(row: dict[str, str]) -> None:
    told = json.loads(row["inputs"])
    pack = resolved({"n": "a", "bt": told["bt"], "t": told["t"], "v": 1}, received_ms=told["now"] * 1000)
    assert pack.records[0].at_ms == int(row["expected"]) * 1000


@pytest.mark.parametrize("row", rows("senml.csv", "senml_smallest_absolute_time"))
def test_the_smallest_absolute_time(row: dict[str, str]) -> None:
    assert json.loads(row["inputs"])["unix_s"] == FIRST_ABSOLUTE_S


@pytest.mark.parametrize("row", rows("senml.csv", "senml_name_valid"))
def test_names_are_valid_as_the_standard_says(row: dict[str, str]) -> None:
    assert is_name(row["inputs"]) is (row["expected"] == "true")


@pytest.mark.parametrize("row", rows("senml.csv", "senml_unknown_must_understand"))
def test_an_unknown_label_ending_in_an_underscore_spoils_the_pack(row: dict[str, str]) -> None:
    assert row["expected"] == "error"
    with pytest.raises(UnusableError):
        resolved(*json.loads(row["inputs"]))


@pytest.mark.parametrize("row", rows("senml.csv", "senml_version_accept"))
def test_the_version_with_secondary_units_is_accepted(row: dict[str, str]) -> None:
    version = json.loads(row["inputs"])["bver"]
    assert resolved({"bver": version, "n": "a", "v": 1}).version == version


@pytest.mark.parametrize("row", rows("senml.csv", "senml_secondary_unit", "senml_convert"))
def test_units_convert_by_the_scales_of_the_registry(row: dict[str, str]) -> None:
    told: dict[str, Any] = (
        json.loads(row["inputs"]) if row["inputs"].startswith("{") else {"u": row["inputs"], "v": 1}
    )
    if told["u"] == "ppm":  # ours is the secondary unit here: go the other way
        ratio = json.loads(row["expected"]).get("v", 1e-6)
        assert to_own(Quantity.CO2, ratio, "/") == pytest.approx(told["v"], rel=1e-12)
    elif told["u"] == "mV":
        assert to_own(Quantity.BATTERY, 1.0, "mV") == 1 / 1000
    else:
        assert to_own(Quantity.AIR_PRESSURE, told["v"], "hPa") == json.loads(row["expected"])["v"]


@pytest.mark.parametrize("row", rows("senml.csv", "senml_ppm_needs_version"))
def test_ppm_is_a_secondary_unit_that_the_version_must_announce(row: dict[str, str]) -> None:
    assert json.loads(row["inputs"])["u"] in SECONDARY
    assert int(row["expected"]) == VERSION_WITH_SECONDARY_UNITS, row["source"]


@pytest.mark.parametrize("row", rows("senml.csv", "senml_percent_is_ratio"))
def test_the_percent_sign_is_refused_because_it_is_a_ratio(row: dict[str, str]) -> None:
    unit = json.loads(row["inputs"])["u"]
    for quantity in Quantity:
        assert unit not in units_for(quantity)
    with pytest.raises(UnusableError) as refused:
        check_unit(Quantity.HUMIDITY, unit)
    assert refused.value.reason is Reason.UNIT


@pytest.mark.parametrize("row", rows("mqtt.csv", "match"))
def test_a_mapped_topic_matches_what_its_filter_matches(row: dict[str, str]) -> None:
    topic = row["filter"].replace("+", "{probe}")
    text = f"""
        [[source]]
        name = "a"
        topic = "{topic}"
        value = [{{ quantity = "co2", at = "/v", unit = "ppm" }}]
    """
    (source,) = parse_sources(text, file="sources.toml")
    assert source.subscription == row["filter"]
    assert (source.probe_in(row["topic"]) is not None) is (row["expected"] == "true")


@pytest.mark.parametrize("row", rows("mqtt.csv", "topic_name_valid"))
def test_topic_names_are_valid_as_mqtt_says(row: dict[str, str]) -> None:
    letters = row["topic"].removeprefix("'a'*")
    topic = "a" * int(letters) if letters != row["topic"] else row["topic"]
    assert is_topic_name(topic) is (row["expected"] == "true")
