"""The door, against anything that may come through it."""

from __future__ import annotations

import json
import math
from typing import Any

import cbor2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.model import CONTACTS, FIRST_INSTANT, LAST_INSTANT, Quantity
from service.messages import Decoded, Incoming, Reason
from service.wire.decode import decode, decode_senml_body
from service.wire.plausible import _POSSIBLE
from service.wire.senml import FIRST_ABSOLUTE_S
from service.wire.sources import parse_sources
from service.wire.syntax import MESSAGE_BYTES
from service.wire.topics import probe_id
from tests.support.wire_cases import FARM, PREFIX, SOURCES_FILE

pytestmark = pytest.mark.pure

NOW_MS = 1_790_000_000_000
unhurried = settings(deadline=None)  # a shared machine may stop for a moment; slowness is no fault here
BASE = f"{PREFIX}/{FARM}"
SOURCES = parse_sources(SOURCES_FILE.read_text(), file=SOURCES_FILE.name)

NAMES = st.sampled_from([*Quantity, "pin-1/humidity", "pin-1/co2", "urn:dev:ow:1:temperature", "/co2", "x/", ""])
NUMBERS = (
    st.floats()
    | st.integers()
    | st.integers(-(10**400), 10**400)
    | st.sampled_from(
        [0, -40, -127, 85.0, 127.9, 655.35, 14.2, 92.5, 1240, 0.93, FIRST_ABSOLUTE_S, NOW_MS // 1000]
    )
)
SCALARS = st.none() | st.booleans() | NUMBERS | st.text(max_size=8)
JSON = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=8,
)
UNITS = st.sampled_from(["Cel", "K", "%RH", "/", "%", "ppm", "Pa", "hPa", "V", "mV", "dBm", "lx"])
RECORDS = st.fixed_dictionaries(
    {},
    optional={
        "bn": st.sampled_from(["", "pin-1/", "pin-1:"]) | JSON,
        "bt": NUMBERS | JSON,
        "bu": UNITS,
        "bv": NUMBERS | JSON,
        "bver": st.sampled_from([10, 26, 42]),
        "n": NAMES | JSON,
        "u": UNITS | JSON,
        "v": NUMBERS | JSON,
        "t": NUMBERS | JSON,
        "vb": st.booleans() | JSON,
        "vs": JSON,
        "odd_": JSON,
    },
)
PLAIN_RECORDS = st.fixed_dictionaries(
    {"n": NAMES, "u": UNITS, "v": NUMBERS}, optional={"t": NUMBERS, "bt": NUMBERS}
)
PACKS = st.lists(RECORDS | JSON, max_size=5) | st.lists(PLAIN_RECORDS, min_size=1, max_size=8)
MAPPED = st.fixed_dictionaries(
    {},
    optional={
        key: SCALARS | JSON | st.datetimes().map(lambda moment: moment.isoformat() + "+14:00")
        for key in ("ts", "temp", "air", "co2", "open", "when", "t", "time", "values")
    },
)


def _cbor(value: Any) -> bytes:
    return cbor2.dumps(value, value_sharing=False)


PAYLOADS = (
    st.binary(max_size=64)
    | st.text(max_size=20).map(lambda text: text.encode(errors="surrogatepass"))
    | NUMBERS.map(lambda number: str(number).encode())
    | PACKS.map(lambda pack: json.dumps(pack).encode())
    | PACKS.map(_cbor)
    | MAPPED.map(lambda document: json.dumps(document).encode())
    | JSON.map(lambda document: json.dumps(document).encode())
)
TOPICS = (
    st.text(max_size=20)
    | st.sampled_from([BASE, f"{BASE}/cbor", f"{BASE}/pin-1", f"{BASE}/pin-1/cbor", f"{BASE}/_marker/x"])
    | st.sampled_from(list(Quantity)).map(lambda quantity: f"{BASE}/pin-1/{quantity}")
    | st.sampled_from(["hall/r/state", "hall//state", "cooler/gateway/report", "shed/s/up", "meter/m/f"])
    | st.text(max_size=70).map(lambda text: f"{BASE}/{text}/co2")
)
MESSAGES = st.builds(
    Incoming,
    topic=TOPICS,
    payload=PAYLOADS,
    received_ms=st.just(NOW_MS),
    content_type=st.none()
    | st.sampled_from(["application/senml+cbor", "application/senml+json", "x"])
    | st.text(),
    retained=st.booleans(),
    duplicate=st.booleans(),
)


def check(decoded: Decoded) -> None:
    """Hold a result to what every later part relies on."""
    moments = [one.reading.at_ms for one in decoded.understood]
    assert moments == sorted(moments)
    for one in decoded.understood:
        reading = one.reading
        low, high = (0.0, 1.0) if reading.quantity in CONTACTS else _POSSIBLE[reading.quantity]
        assert math.isfinite(reading.value)
        assert low <= reading.value <= high
        assert FIRST_INSTANT <= reading.at_ms <= min(LAST_INSTANT, NOW_MS + 300_000)
        assert reading.probe in decoded.heard
    for rejected in decoded.rejected:
        assert rejected.detail.isprintable()
        assert len(rejected.detail) < 400
        assert rejected.probe is None or rejected.probe in decoded.heard
    assert all(probe_id(probe) == probe for probe in decoded.heard)
    json.dumps(decoded.oddities).encode()


@unhurried
@given(MESSAGES)
def test_no_message_raises_and_nothing_impossible_gets_in(incoming: Incoming) -> None:
    check(decode(incoming, prefix=PREFIX, farm=FARM, sources=SOURCES))


@unhurried
@given(PACKS, st.booleans())
def test_no_pack_raises_by_http_either(pack: list[Any], as_cbor: bool) -> None:  # noqa: FBT001
    body = _cbor(pack) if as_cbor else json.dumps(pack).encode()
    check(decode_senml_body(body, content_type=None, received_ms=NOW_MS))


@unhurried
@given(PACKS)
def test_json_and_cbor_say_the_same(pack: list[Any]) -> None:
    in_json = decode_senml_body(json.dumps(pack).encode(), content_type=None, received_ms=NOW_MS)
    in_cbor = decode_senml_body(_cbor(pack), content_type="application/senml+cbor", received_ms=NOW_MS)
    assert in_json.understood == in_cbor.understood


@unhurried
@given(st.lists(st.tuples(st.integers(0, 300), st.floats(2, 100)), min_size=1, max_size=20))
def test_every_good_record_of_a_pack_comes_out_in_order_of_time(records: list[tuple[int, float]]) -> None:
    pack = [{"n": "pin-1/humidity", "u": "%RH", "t": NOW_MS // 1000 - age, "v": value} for age, value in records]
    decoded = decode_senml_body(json.dumps(pack).encode(), content_type=None, received_ms=NOW_MS)
    expected = sorted(((NOW_MS - age * 1000, value) for age, value in records), key=lambda one: one[0])
    assert [(one.reading.at_ms, one.reading.value) for one in decoded.understood] == expected


@pytest.mark.parametrize("topic", [f"{BASE}/pin-1", f"{BASE}/pin-1/co2", "hall/pin-1/state"])
def test_a_message_over_one_mebibyte_is_refused_wherever_it_comes(topic: str) -> None:
    incoming = Incoming(topic=topic, payload=b" " * (MESSAGE_BYTES + 1), received_ms=NOW_MS)
    decoded = decode(incoming, prefix=PREFIX, farm=FARM, sources=SOURCES)
    assert [one.reason for one in decoded.rejected] == [Reason.TOO_LARGE]
    assert decoded.heard == {"pin-1"}


def test_a_body_over_one_mebibyte_is_refused() -> None:
    decoded = decode_senml_body(b" " * (MESSAGE_BYTES + 1), content_type=None, received_ms=NOW_MS)
    assert [one.reason for one in decoded.rejected] == [Reason.TOO_LARGE]
    assert not decoded.heard


def test_a_content_type_may_carry_parameters() -> None:
    body = _cbor([{"n": "pin-1/door", "vb": True}])
    for content_type in ("application/senml+cbor; x=1", "Application/CBOR"):
        assert decode_senml_body(body, content_type=content_type, received_ms=NOW_MS).understood


def test_a_message_that_says_cbor_is_not_read_as_json() -> None:
    body = json.dumps([{"n": "pin-1/door", "vb": True}]).encode()
    decoded = decode_senml_body(body, content_type="application/senml+cbor", received_ms=NOW_MS)
    assert [one.reason for one in decoded.rejected] == [Reason.PACK]


@pytest.mark.parametrize(
    "document", ["5", '"x"', "null", "[]", '{"ts": {}}', '{"ts": "soon", "temp": 57.2}', '{"ts": 1e300}']
)
def test_odd_documents_of_a_mapped_device_are_rejected(document: str) -> None:
    incoming = Incoming(topic="hall/rack-3/state", payload=document.encode(), received_ms=NOW_MS)
    decoded = decode(incoming, prefix=PREFIX, farm=FARM, sources=SOURCES)
    assert not decoded.understood
    assert decoded.rejected


@pytest.mark.parametrize("when", ["5", '"yesterday"', "true"])
def test_a_time_that_is_no_iso_8601_is_rejected(when: str) -> None:
    payload = f'{{"when": {when}, "t": 2.5}}'.encode()
    incoming = Incoming(topic="cooler/gateway/report", payload=payload, received_ms=NOW_MS)
    decoded = decode(incoming, prefix=PREFIX, farm=FARM, sources=SOURCES)
    assert [one.reason for one in decoded.rejected] == [Reason.TIME_RANGE]
