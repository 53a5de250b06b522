from __future__ import annotations

import pytest

from service.notifications.carriers.detail import detail

pytestmark = pytest.mark.pure


def test_a_secret_is_hidden_however_it_is_echoed() -> None:
    said = "key a+b/c= bad, a%2Bb%2Fc%3D bad, A+B/C= bad"
    assert detail(said, ["Bearer a+b/c="]) == "key [hidden] bad, [hidden] bad, [hidden] bad"


def test_an_answer_is_one_short_line() -> None:
    said = detail("400 Bad\r\n\x00<html>" + "x" * 500)
    assert said.startswith("400 Bad <html>xxx")
    assert len(said) == 200


def test_a_value_too_short_to_be_a_secret_does_not_blot_out_the_answer() -> None:
    assert detail("1 of 10", ["1", ""]) == "1 of 10"
