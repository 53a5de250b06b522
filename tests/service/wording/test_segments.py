from __future__ import annotations

import ast
import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import NotUnderstood
from service.wording.segments import BASIC, EXTENSION, ONE_SEGMENT, cut, is_gsm7, segments, text_name, to_gsm7
from tests.support.reference import uses

pytestmark = pytest.mark.pure

# Rows and their sources (3GPP TS 23.038, TS 23.040) stand in the file itself.
FILE = Path(__file__).parents[2] / "reference/text_message_segments.csv"
ROWS = list(csv.DictReader(FILE.read_text(encoding="utf-8").splitlines()))
CASES = [row for row in ROWS if row["text_python_expression"]]
LENGTHS = {row["case"]: int(row["expected"]) for row in ROWS if not row["text_python_expression"]}


def written_out(expression: str) -> str:
    """The text of a row: string literals, ``+`` and ``*`` only."""

    def value(node: ast.expr) -> str | int:
        match node:
            case ast.Constant(value=str() | int() as literal):
                return literal
            case ast.BinOp(left=left, op=ast.Mult(), right=right):
                text, times = value(left), value(right)
                assert isinstance(text, str)
                assert isinstance(times, int)
                return text * times
            case ast.BinOp(left=left, op=ast.Add(), right=right):
                return f"{value(left)}{value(right)}"
        raise ValueError(f"not a text expression: {ast.dump(node)}")

    return str(value(ast.parse(expression, mode="eval").body))


@pytest.mark.parametrize("row", CASES, ids=[row["id"] for row in CASES])
def test_a_text_is_counted_as_the_standard_counts_it(row: dict[str, str]) -> None:
    counted = segments(written_out(row["text_python_expression"]))

    assert (counted.encoding, counted.units, counted.count) == (
        row["encoding"],
        int(row["units"]),
        int(row["expected"]),
    )


@uses(*(row for row in ROWS if not row["text_python_expression"]))
def test_lengths_of_one_segment_are_those_of_the_standard() -> None:
    assert LENGTHS["single_gsm7"] == ONE_SEGMENT
    assert segments("°" * LENGTHS["single_ucs2"]).count == 1
    assert segments("°" * (LENGTHS["single_ucs2"] + 1)).count == 2
    assert segments("°" * 2 * LENGTHS["multi_ucs2_8bit_reference"]).count == 2
    assert segments("°" * (2 * LENGTHS["multi_ucs2_8bit_reference"] + 1)).count == 3
    # Seven-bit characters packed into the octets of one message and of one part of several.
    assert LENGTHS["user_data_octets"] * 8 // 7 == ONE_SEGMENT
    part = (LENGTHS["multi_8bit_data"] * 8) // 7
    assert segments("A" * 2 * part).count == 2
    assert segments("A" * (2 * part + 1)).count == 3


def test_the_alphabet_has_as_many_letters_as_the_standard_table() -> None:
    """3GPP TS 23.038 section 6.2.1: 128 codes less the escape; 6.2.1.1: ten extensions."""
    assert (len(BASIC), len(EXTENSION), BASIC & EXTENSION) == (127, 10, frozenset())


@pytest.mark.parametrize(
    ("written", "sent"),
    [
        ("18.4 °C", "18.4 C"),
        ("límite húmedo", "limite humedo"),
        ("mañana, señal, Zoé, über, Ångström", "mañana, señal, Zoé, über, Ångström"),
        ("Room 3\u2019s “fan” \u2013 ≤ 18", 'Room 3\'s "fan" - <= 18'),
        ("CO₂ 900", "CO2 900"),
        ("Łódź", "Lodz"),
        ("crème brûlée", "crème brulée"),
        ("a\tb", "a b"),
        ("garçon", "garÇon"),
        ("House 🍄", "House "),
        ("房 3", "? 3"),
    ],
)
def test_letters_outside_the_alphabet_are_replaced_by_the_nearest(written: str, sent: str) -> None:
    assert to_gsm7(written) == sent


@given(st.text())
def test_whatever_is_written_ends_up_in_the_alphabet(written: str) -> None:
    assert is_gsm7(to_gsm7(written))


@given(st.text(alphabet=sorted(BASIC | EXTENSION)))
def test_a_text_already_in_the_alphabet_stays_as_it_is(written: str) -> None:
    assert to_gsm7(written) == written


@given(st.text(alphabet=sorted(BASIC | EXTENSION)), st.integers(min_value=0, max_value=40))
def test_a_cut_text_never_takes_more_septets_than_it_may(written: str, septets: int) -> None:
    assert segments(cut(written, septets)).units <= septets


def test_a_name_is_one_line_and_bounded() -> None:
    assert text_name("  Cámara \n fría número 1 ", 12) == "Camara fria"
    assert text_name("House {3}", 8) == "House {"


@pytest.mark.parametrize("name", ["", "   ", "🍄🍄", "房子"])
def test_a_name_that_no_text_can_carry_is_refused_when_it_is_entered(name: str) -> None:
    with pytest.raises(NotUnderstood, match="no letters or digits"):
        text_name(name, 12)
