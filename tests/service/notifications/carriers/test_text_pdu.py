"""Texts as octets. The published examples are from memory: they stand in many introductions to PDU mode."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime

import gsm0338
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.notifications.carriers.text_pdu import (
    Delivered,
    delivered,
    in_one_part,
    letters,
    moment_of,
    pack,
    septets,
    submit,
    unpack,
    validity,
)
from service.wording.segments import BASIC, EXTENSION, segments
from tests.support.pretend_modem import read_submit

pytestmark = pytest.mark.pure

CODEC = gsm0338.Codec()
ALL_LETTERS = sorted(BASIC | EXTENSION)
CAME = "07917283010010F5040BC87238880900F10000993092516195800AE8329BFD4697D9EC37"


# From memory: the example that most introductions to the packing use.
@pytest.mark.parametrize(
    ("text", "packed"),
    [
        ("hellohello", "E8329BFD4697D9EC37"),
        ("hello", "E8329BFD06"),
        ("", ""),
        ("@", "00"),
        ("12345678", "31D98C56B3DD70"),
    ],
)
def test_septets_are_packed_as_published(text: str, packed: str) -> None:
    assert pack(septets(text)).hex().upper() == packed


# From memory, the same introductions: "hellohello" to +46708251358, valid for four days.
def test_a_whole_text_is_laid_out_as_published() -> None:
    made = submit("+46708251358", "hellohello", valid_min=4 * 24 * 60)
    assert (made.digits, made.octets) == ("0011000B916407281553F80000AA0AE8329BFD4697D9EC37", 23)


def test_a_text_that_came_is_read_as_published() -> None:
    assert delivered(CAME) == Delivered(phone="27838890001", text="hellohello", stamp="99309251619580")


@pytest.mark.parametrize("letter", ALL_LETTERS)
def test_every_letter_has_the_code_of_the_reference_library(letter: str) -> None:
    """gsm0338 carries the tables of 3GPP TS 23.038 by somebody else's hand."""
    assert bytes(septets(letter)) == CODEC.encode(letter)[0]


@given(st.text(st.sampled_from(ALL_LETTERS), max_size=80))
def test_what_is_packed_is_read_back_by_another_reader(text: str) -> None:
    assert read_submit(submit("+12025550143", text, valid_min=60).digits) == ("+12025550143", in_one_part(text))


@given(st.lists(st.integers(min_value=0, max_value=127), max_size=160), st.integers(min_value=0, max_value=6))
def test_unpacking_undoes_packing(codes: list[int], fill_bits: int) -> None:
    assert unpack(pack(codes, fill_bits=fill_bits), len(codes), fill_bits=fill_bits) == codes


@given(st.text(max_size=400))
def test_any_text_becomes_one_part(text: str) -> None:
    made = in_one_part(text)
    assert (segments(made).encoding, segments(made).count) == ("GSM-7", 1)


def test_only_a_text_too_long_is_cut_and_says_so() -> None:
    assert in_one_part("x" * 160) == "x" * 160
    assert in_one_part("x" * 161) == "x" * 157 + "..."


# 3GPP TS 23.040 section 9.2.3.12.1, from memory: 5 min steps to 12 h, half hours to 24 h, days to 30, weeks.
@pytest.mark.parametrize(
    ("minutes", "octet"),
    [
        (0, 0),
        (5, 0),
        (59, 10),
        (60, 11),
        (720, 143),
        (749, 143),
        (750, 144),
        (1440, 167),
        (5760, 170),
        (43200, 196),
    ],
)
def test_how_long_the_network_tries_is_one_octet(minutes: int, octet: int) -> None:
    assert validity(minutes) == octet


def came(*, first: int = 0x04, sender: str = "0B912120555510F3", coding: int = 0, count: int, data: str) -> str:
    return f"00{first:02X}{sender}00{coding:02X}62115171038020{count:02X}{data}"


# 3GPP TS 23.040 section 9.2.3.11, from memory. The published example is 29 March (19)99, 15:16:59, at +2 h.
@pytest.mark.parametrize(
    ("stamp", "moment"),
    [
        ("99309251619580", datetime(2099, 3, 29, 13, 16, 59, tzinfo=UTC)),
        ("62115230150100", datetime(2026, 11, 25, 3, 51, 10, tzinfo=UTC)),
        ("6211523015010a", datetime(2026, 11, 25, 8, 51, 10, tzinfo=UTC)),
        ("621152301501a0", None),
        ("62995230150100", None),
        ("", None),
    ],
)
def test_a_stamp_says_when_the_text_was_sent(stamp: str, moment: datetime | None) -> None:
    assert moment_of(stamp) == (None if moment is None else moment.timestamp() * 1000)


def test_a_number_with_a_country_is_read_in_international_form() -> None:
    packed = pack(septets("7 going")).hex()
    assert delivered(came(count=7, data=packed)).phone == "+12025555013"
    assert delivered(came(count=7, data=packed)).text == "7 going"


def test_a_sender_may_be_a_name() -> None:
    name = pack(septets("CARRIER")).hex()
    said = delivered(came(sender=f"0DD0{name}", count=2, data=pack(septets("hi")).hex()))
    assert (said.phone, said.text) == ("CARRIER", "hi")


def test_accents_beyond_the_alphabet_come_as_ucs_2() -> None:
    text = "ya voy, límite"
    data = text.encode("utf-16-be")
    assert delivered(came(coding=0x08, count=len(data), data=data.hex())).text == text


def test_octets_are_read_as_letters() -> None:
    assert delivered(came(coding=0x04, count=3, data=b"out".hex())).text == "out"


def test_a_header_before_the_text_is_passed_over() -> None:
    """One part of two: five octets of header after their length, one bit of filling, then the text."""
    header = bytes.fromhex("0500030C0201")
    packed = pack(septets("7 voy"), fill_bits=1)
    assert delivered(came(first=0x44, count=7 + 5, data=(header + packed).hex())).text == "7 voy"


def test_an_unknown_escape_shows_the_letter_behind_it() -> None:
    """3GPP TS 23.038 section 6.2.1.1. Spanish phones send an accented i like this, in a table of their own."""
    assert letters([0x1B, 0x69, 0x1B, 0x65, 0x1B, 0x1B]) == "i€ "


@pytest.mark.parametrize(
    "digits", ["", "00", "07917283", CAME[:-8], "0001000B916407281553F80000", "zz", "00" * 20]
)
def test_what_is_no_text_that_came_is_said_to_be_none(digits: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        delivered(digits)


@given(st.binary(max_size=60))
def test_no_octets_do_worse_than_that(octets: bytes) -> None:
    with suppress(ValueError):
        assert delivered(octets.hex()).phone
