"""Numbers as text, units, and what can be true."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.model import CONTACTS, UNIT, Quantity
from service.messages import Reason
from service.wire.bare import parse_number, parse_state
from service.wire.plausible import believable, check_time, contact_state
from service.wire.syntax import looks_like_cbor, number_of, parse_json
from service.wire.units import check_unit, declared_units_for, to_own, units_for
from service.wire.unusable import UnusableError, quoted

pytestmark = pytest.mark.pure

NOW_MS = 1_790_000_000_000
MEASURED = sorted(UNIT)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_finite_number_written_out_is_read_back(number: float) -> None:
    assert parse_number(repr(number)) == number


@given(st.decimals(-10_000, 250_000, places=2))
def test_a_decimal_comma_reads_as_a_point(number: Decimal) -> None:
    assert parse_number(str(number).replace(".", ",")) == float(number)


@pytest.mark.parametrize(
    ("text", "number"), [("0,125", 0.125), (".5", 0.5), ("5.", 5.0), ("+7", 7.0), ("1234,5", 1234.5)]
)
def test_ways_to_write_a_number(text: str, number: float) -> None:
    assert parse_number(text) == number


@pytest.mark.parametrize(
    "text", ["1,240", "-1,240", "1_000", "1.2.3", "1,2,3", "0x10", "e5", ".", "5 5", "9" * 65, "1e"]
)
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(UnusableError) as refused:
        parse_number(text)
    assert refused.value.reason is Reason.NOT_A_NUMBER


def test_blank_text_inside_a_message_is_empty() -> None:
    with pytest.raises(UnusableError) as refused:
        parse_number("  ")
    assert refused.value.reason is Reason.EMPTY


@pytest.mark.parametrize(
    ("text", "state"), [("ON", 1), ("true", 1), ("1", 1), (" off\n", 0), ("False", 0), ("0", 0)]
)
def test_ways_to_write_a_contact(text: str, state: float) -> None:
    assert parse_state(text) == state


@pytest.mark.parametrize(
    ("seen", "reason"),
    [
        (None, Reason.MISSING),
        (True, Reason.NOT_A_NUMBER),
        ("1", Reason.NOT_A_NUMBER),
        ([], Reason.NOT_A_NUMBER),
        (10**400, Reason.NOT_FINITE),
        pytest.param(10**5000, Reason.NOT_FINITE, id="thousands of digits"),
        (Decimal("1e999"), Reason.NOT_FINITE),
        (Decimal("sNaN"), Reason.NOT_FINITE),
        (float("inf"), Reason.NOT_FINITE),
    ],
)
def test_what_json_and_cbor_may_hold_in_place_of_a_number(seen: object, reason: Reason) -> None:
    with pytest.raises(UnusableError) as refused:
        number_of(seen)
    assert refused.value.reason is reason


def test_a_decimal_fraction_is_a_number() -> None:
    assert number_of(Decimal("14.25")) == 14.25


def test_an_integer_of_thousands_of_digits_is_refused_before_it_is_read() -> None:
    with pytest.raises(UnusableError):
        parse_json(b"[" + b"9" * 5000 + b"]")


@pytest.mark.parametrize(
    ("payload", "cbor"), [(b"", False), (b"[]", False), (b" []", False), (b"\xef\xbb\xbf[]", False)]
)
def test_json_does_not_look_like_cbor(payload: bytes, cbor: bool) -> None:  # noqa: FBT001
    assert looks_like_cbor(payload) is cbor


@pytest.mark.parametrize("first", [0x80, 0x97, 0x9B, 0x9F, 0xD9])
def test_an_array_in_cbor_looks_like_cbor(first: int) -> None:
    assert looks_like_cbor(bytes([first, 0]))


@pytest.mark.parametrize("quantity", MEASURED)
def test_every_quantity_is_kept_in_a_unit_that_senml_may_use(quantity: Quantity) -> None:
    check_unit(quantity, UNIT[quantity])
    assert to_own(quantity, 12.5, UNIT[quantity]) == to_own(quantity, 12.5, None) == 12.5


def test_fahrenheit_can_be_declared_for_temperatures_only() -> None:
    """Fixed points of the scale: ice 32, steam 212 (by definition)."""
    assert to_own(Quantity.TEMPERATURE, 32, "degF") == 0
    assert to_own(Quantity.BLOCK_CORE, 212, "degF") == 100
    assert {q for q in Quantity if "degF" in declared_units_for(q)} == {q for q in UNIT if UNIT[q] == "Cel"}


def test_ratios_come_out_as_the_round_figures_they_were() -> None:
    assert [to_own(Quantity.HUMIDITY, hundredths / 100, "/") for hundredths in range(2, 101)] == list(
        range(2, 101)
    )
    assert [to_own(Quantity.CO2, ppm / 1e6, "/") for ppm in range(400, 3000)] == list(range(400, 3000))
    assert to_own(Quantity.SIGNAL, -101.0, "dBW") == -71.0
    assert to_own(Quantity.TEMPERATURE, 273.15, "K") == 0.0


@pytest.mark.parametrize("quantity", sorted(CONTACTS))
def test_a_contact_has_no_unit_but_the_bare_ratio(quantity: Quantity) -> None:
    assert units_for(quantity) == ("/",)
    check_unit(quantity, None)
    assert [contact_state(quantity, number) for number in (0.0, 1.0)] == [0.0, 1.0]


@pytest.mark.parametrize(
    ("quantity", "value"),
    [
        (Quantity.TEMPERATURE, 0.0),
        (Quantity.TEMPERATURE, 66.0),
        (Quantity.TEMPERATURE, 95.0),
        (Quantity.TEMPERATURE, 85.0625),
        (Quantity.BLOCK_CORE, 121.0),
        (Quantity.HUMIDITY, 85.0),
        (Quantity.HUMIDITY, 12.0),
        (Quantity.CO2, 20_000.0),
        (Quantity.LIGHT, 0.0),
        (Quantity.AIR_PRESSURE, 60_000.0),
    ],
)
def test_what_a_farm_may_really_show_is_believed(quantity: Quantity, value: float) -> None:
    assert believable(quantity, value) == (value, ())


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf"), 1e300])
@pytest.mark.parametrize("quantity", MEASURED)
def test_what_is_no_number_at_all_is_never_believed(quantity: Quantity, value: float) -> None:
    with pytest.raises(UnusableError):
        believable(quantity, value)


@pytest.mark.parametrize(
    ("at_ms", "reason"),
    [
        (-1, Reason.TIME_RANGE),
        (253_402_300_800_000, Reason.TIME_RANGE),
        (0, Reason.CLOCK_WRONG),
        (946_684_799_999, Reason.CLOCK_WRONG),
        (NOW_MS + 300_001, Reason.TIME_AHEAD),
    ],
)
def test_times_that_cannot_be_right(at_ms: int, reason: Reason) -> None:
    with pytest.raises(UnusableError) as refused:
        check_time(at_ms, NOW_MS)
    assert refused.value.reason is reason


@pytest.mark.parametrize("at_ms", [946_684_800_000, NOW_MS - 86_400_000, NOW_MS, NOW_MS + 300_000])
def test_times_that_can_be_right(at_ms: int) -> None:
    check_time(at_ms, NOW_MS)


def test_what_is_quoted_is_short_and_printable() -> None:
    assert quoted("a\0\ud800") == r"'a\x00\ud800'"
    assert quoted("x" * 100) == "'" + "x" * 60 + "'..."
    assert quoted(10**5000) == "'(int)'"
