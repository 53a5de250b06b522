"""Faults: how they are spelt, when they hold, how they end."""

from __future__ import annotations

import pytest

from simulator.control import checked_fault
from simulator.faults import Fault, FaultBook, FaultKind, parse_fault

pytestmark = pytest.mark.pure

NOON_MS = 1_794_934_800_000


@pytest.mark.parametrize(
    ("spelling", "start_min", "end_min"),
    [
        ("humidifier:house-1@+20min", 20, None),
        ("humidifier:house-1@+20min/50min", 20, 70),
        ("humidifier:house-1@-1.5h/90s", -90, -88.5),
        ("humidifier:house-1@now", 0, None),
    ],
)
def test_a_fault_is_read_from_one_word(spelling: str, start_min: float, end_min: float | None) -> None:
    expected = Fault(
        kind=FaultKind.HUMIDIFIER,
        target="house-1",
        start_ms=NOON_MS + round(start_min * 60_000),
        end_ms=None if end_min is None else NOON_MS + round(end_min * 60_000),
    )
    assert parse_fault(spelling, from_ms=NOON_MS) == expected


@pytest.mark.parametrize(
    "spelling", ["", "humidifier", "humidifier:house-1", "roof:house-1@now", "fan:house-1@20", "fan:h@+1day"]
)
def test_what_cannot_be_read_says_how_to_write_it(spelling: str) -> None:
    with pytest.raises(ValueError, match="write kind:room@"):
        parse_fault(spelling, from_ms=NOON_MS)


def test_a_fault_of_a_room_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match="no house-9 on the farm"):
        checked_fault("fan:house-9@now", from_ms=NOON_MS)
    with pytest.raises(ValueError, match="no house-1 on the farm"):
        checked_fault("probe:house-1@now", from_ms=NOON_MS)


def test_a_fault_holds_from_its_start_up_to_its_end() -> None:
    fault = parse_fault("fan:house-2@now/10s", from_ms=NOON_MS)
    book = FaultBook((fault,))
    holds = [bool(book.going_at(NOON_MS + ms)) for ms in (-1, 0, 9999, 10_000)]
    assert holds == [False, True, True, False]


def test_mending_ends_only_what_is_meant() -> None:
    book = FaultBook((parse_fault("fan:house-2@now", from_ms=NOON_MS),))
    book.add(parse_fault("door:house-2@now", from_ms=NOON_MS))
    assert book.end(FaultKind.FAN, "house-2", NOON_MS + 60_000) == 1
    assert book.end(FaultKind.FAN, "house-2", NOON_MS + 60_000) == 0
    assert book.going_at(NOON_MS + 60_000) == {(FaultKind.DOOR, "house-2")}
