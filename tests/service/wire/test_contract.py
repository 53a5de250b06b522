"""The golden messages of tests/contract, and the page made from them."""

from __future__ import annotations

from collections import Counter

import pytest

from rules.model import ProbeId, Quantity
from service.messages import Decoded, Incoming, Reason, Understood
from service.wire.decode import decode
from service.wire.sources import parse_sources
from tests.contract.make_table import README, table
from tests.support.wire_cases import FARM, PREFIX, SOURCES_FILE, WireCase, wire_cases

pytestmark = pytest.mark.pure

CASES = wire_cases()
SOURCES = parse_sources(SOURCES_FILE.read_text(), file=SOURCES_FILE.name)


def decoded(case: WireCase) -> Decoded:
    incoming = Incoming(
        topic=case.topic,
        payload=case.payload,
        received_ms=case.received_ms,
        content_type=case.content_type,
        retained=case.retained,
        duplicate=case.duplicate,
    )
    return decode(incoming, prefix=PREFIX, farm=FARM, sources=SOURCES if case.mapped else ())


def flat(understood: Understood) -> tuple[ProbeId, Quantity, float, int, bool]:
    reading = understood.reading
    return reading.probe, reading.quantity, reading.value, reading.at_ms, understood.timed


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_golden_message_is_decoded_exactly_as_its_file_says(case: WireCase) -> None:
    result = decoded(case)
    assert [flat(one) for one in result.understood] == [
        (one.probe, one.quantity, one.value, one.at_ms, one.timed) for one in case.readings
    ]
    assert Counter((one.reason, one.probe) for one in result.rejected) == Counter(
        (Reason[one.reason], one.probe) for one in case.rejected
    )
    assert result.heard == case.heard
    assert result.oddities == case.oddities
    assert all(one.detail and one.detail.isprintable() for one in result.rejected)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_after_any_message_the_next_good_one_is_understood(case: WireCase) -> None:
    decoded(case)
    good = Incoming(topic=f"{PREFIX}/{FARM}/pin-1/humidity", payload=b"91.4", received_ms=case.received_ms)
    assert [one.reading.value for one in decode(good, prefix=PREFIX, farm=FARM).understood] == [91.4]


def test_every_reason_the_decoder_can_give_has_a_case() -> None:
    of_recording = {Reason.RETAINED, Reason.DIFFERS, Reason.TOO_MANY_WAITING, Reason.NOT_STORED}
    assert {Reason[one.reason] for case in CASES for one in case.rejected} == set(Reason) - of_recording


def test_the_page_of_cases_is_up_to_date_and_leaves_none_out() -> None:
    assert README.read_text() == table(), "run: python -m tests.contract.make_table"
    assert all(f"(cases/{case.name}.toml)" in table() for case in CASES)
