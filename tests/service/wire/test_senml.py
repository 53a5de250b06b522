from __future__ import annotations

from typing import Any

import pytest

from service.messages import Reason
from service.wire.senml import RECORDS, Pack, resolve
from service.wire.unusable import UnusableError

pytestmark = pytest.mark.pure

NOW_MS = 1_790_000_000_000


def resolved(*records: Any) -> Pack:
    return resolve(list(records), received_ms=NOW_MS)


def refusal(*records: Any) -> Reason:
    with pytest.raises(UnusableError) as refused:
        resolved(*records)
    return refused.value.reason


def only_broken(*records: Any) -> tuple[Reason, str]:
    pack = resolved(*records)
    assert not pack.records
    (broken,) = pack.broken
    return broken.error.reason, broken.name


@pytest.mark.parametrize("version", [1, 5, 10, 26])
def test_versions_up_to_ten_and_twenty_six_are_known(version: int) -> None:
    assert resolved({"bver": version, "n": "a", "v": 1}).version == version


@pytest.mark.parametrize("version", [0, -1, 11, 25, 27, 42, True, "10", 10.5, None])
def test_any_other_version_spoils_the_pack(version: object) -> None:
    assert refusal({"bver": version, "n": "a", "v": 1}) is Reason.PACK_VERSION


def test_a_pack_without_a_version_has_version_ten() -> None:
    assert resolved({"n": "a", "v": 1}).version == 10


def test_records_of_two_versions_spoil_the_pack() -> None:
    assert refusal({"bver": 10, "n": "a", "v": 1}, {"bver": 26, "n": "a", "v": 1}) is Reason.PACK


@pytest.mark.parametrize("base", [{"bn": 7}, {"bu": 7}, {"bt": "x"}, {"bt": float("nan")}, {"bv": True}])
def test_a_base_field_that_cannot_be_read_spoils_the_pack(base: dict[str, object]) -> None:
    assert refusal({**base, "n": "a", "v": 1}) is Reason.PACK


def test_base_fields_hold_until_they_are_given_again() -> None:
    pack = resolved(
        {"bn": "a/", "bu": "Cel", "bt": NOW_MS / 1000 - 10},
        {"n": "x", "v": 1},
        {"bn": "b/", "bu": "%RH", "n": "x", "v": 2, "t": 5},
    )
    assert [(one.name, one.unit, one.at_ms) for one in pack.records] == [
        ("a/x", "Cel", NOW_MS - 10_000),
        ("b/x", "%RH", NOW_MS - 5_000),
    ]


@pytest.mark.parametrize(
    ("record", "reason", "name"),
    [
        ({"n": 7, "v": 1}, Reason.NAME, ""),
        ({"n": "_a", "v": 1}, Reason.NAME, ""),
        ({"v": 1}, Reason.NAME, ""),
        ({"n": "a", "u": 7, "v": 1}, Reason.UNIT, "a"),
        ({"n": "a", "t": "5", "v": 1}, Reason.TIME_RANGE, "a"),
        ({"n": "a", "t": -1e13, "v": 1}, Reason.TIME_RANGE, "a"),
        ({"n": "a", "v": 1, "vb": True}, Reason.NOT_A_NUMBER, "a"),
        ({"n": "a", "vb": 1}, Reason.NOT_A_NUMBER, "a"),
        ({"n": "a", "s": 12}, Reason.MISSING, "a"),
        ({"n": "a", "bv": 1e308, "v": 1e308}, Reason.NOT_FINITE, "a"),
        ("text", Reason.PACK, ""),
    ],
)
def test_one_record_that_cannot_be_read_is_set_aside(record: object, reason: Reason, name: str) -> None:
    assert only_broken(record) == (reason, name)


@pytest.mark.parametrize("label", ["vs", "vd"])
def test_text_and_data_values_pass_as_text(label: str) -> None:
    assert resolved({"n": "a", label: "eHl6"}).records[0].value == "'eHl6'"


def test_number_labels_are_those_of_the_standard() -> None:
    """RFC 8428 sec. 6, table 4 (from memory): bver -1 ... bs -6, n 0 ... vd 8."""
    pack = resolved({-1: 26, -2: "a/", -3: 0, -4: "Cel", -5: 1, -6: 0, 0: "x", 2: 2, 6: -3, 7: 60, 99: 1})
    (record,) = pack.records
    assert (pack.version, record.name, record.unit, record.at_ms) == (26, "a/x", "Cel", NOW_MS - 3_000)
    assert record.value == 3.0


def test_a_pack_may_hold_ten_thousand_records_and_no_more() -> None:
    assert not resolved(*[{} for _ in range(RECORDS)]).records
    assert refusal(*[{} for _ in range(RECORDS + 1)]) is Reason.TOO_LARGE


@pytest.mark.parametrize("pack", [{}, "x", 5, None])
def test_a_pack_is_an_array(pack: object) -> None:
    with pytest.raises(UnusableError):
        resolve(pack, received_ms=NOW_MS)
