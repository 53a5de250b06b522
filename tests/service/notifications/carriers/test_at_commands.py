"""Lines of a modem. Shapes and numbers: 3GPP TS 27.005 and TS 27.007, from memory."""

from __future__ import annotations

import pytest

from service.notifications.carriers import at_commands
from service.notifications.carriers.at_commands import End, Kept

pytestmark = pytest.mark.pure


@pytest.mark.parametrize(
    ("line", "end"),
    [
        ("OK", End(good=True)),
        ("ERROR", End(good=False, status=500)),
        ("+CMS ERROR: 38", End(good=False, status=38)),
        ("+CMS ERROR:331", End(good=False, status=331)),
        ("+CME ERROR: 10", End(good=False, status=310)),
        ("+CME ERROR: 11", End(good=False, status=311)),
        ("+CME ERROR: 30", End(good=False, status=331)),
        ("+CME ERROR: 999", End(good=False, status=500)),
        ("+CME ERROR: SIM not inserted", End(good=False, status=500)),
        ("+CSQ: 17,99", None),
        ("OKAY", None),
        ("RING", None),
        ("", None),
    ],
)
def test_an_answer_ends_with_one_of_a_few_lines(line: str, end: End | None) -> None:
    assert at_commands.final(line) == end


@pytest.mark.parametrize(
    ("lines", "status"),
    [
        (["+CPIN: READY"], 0),
        (['+CPIN: "READY"'], 0),
        (["RING", "+CPIN: SIM PUK"], 316),
        (["+CPIN: PH-NET PIN"], 312),
        ([], 500),
    ],
)
def test_a_card_is_ready_or_says_what_keeps_it(lines: list[str], status: int) -> None:
    assert at_commands.card(lines) == status


@pytest.mark.parametrize(
    ("lines", "there"),
    [
        (["+CREG: 0,1"], True),
        (['+CREG: 2,5,"00C3","0012"'], True),
        (["+CREG: 1", "+CREG: 0,2"], False),
        (['+CREG: 2,"00C3"', "+CREG: 0,1"], True),
        (["+CREG: 0,4"], False),
        (["+CEREG: 0,1"], False),
        ([], False),
    ],
)
def test_a_network_is_what_was_asked_for_and_not_what_was_said_unasked(lines: list[str], there: bool) -> None:  # noqa: FBT001
    assert at_commands.registered("CREG", lines) is there


@pytest.mark.parametrize(
    ("line", "strength"), [("+CSQ: 0,0", 0), ("+CSQ: 31,99", 31), ("+CSQ: 99,99", None), ("+CSQ: x", None)]
)
def test_signal_is_0_to_31_or_not_known(line: str, strength: int | None) -> None:
    assert at_commands.signal([line]) == strength


def test_texts_that_came_are_told_from_those_to_be_sent_and_from_noise() -> None:
    digits = "07917283010010F5"
    lines = ["+CMGL: 1,0,,24", "RING", digits, "+CMGL: 2,3,,24", digits, '+CMGL: 3,1,"",24', digits, digits]
    assert list(at_commands.kept(lines)) == [Kept(index=1, digits=digits), Kept(index=3, digits=digits)]


def test_the_number_of_a_sent_text_is_found() -> None:
    assert at_commands.sent_as(['+CMTI: "SM",1', "+CMGS: 43"]) == "43"
    assert at_commands.sent_as(["RING"]) is None
