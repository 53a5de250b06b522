"""Whoever reads what others were sent cannot answer for them."""

from __future__ import annotations

import pytest

from service.wording.hidden_link import without_link

pytestmark = pytest.mark.pure


def test_of_a_link_that_answers_only_the_beginning_is_shown() -> None:
    text = "House 7: humidity 80%. Answer: https://farm.example/a/AbCdEfGhIjKlMnOpQrStUvWx Invented data."
    assert without_link(text) == "House 7: humidity 80%. Answer: https://farm.example/a/... Invented data."


def test_what_holds_no_link_stays_as_it_is() -> None:
    for text in ("", "House 7: 80%, at https://farm.example/rooms/house-7", "a/AbCdEfGhIjKlMnOpQrStUvWx"):
        assert without_link(text) == text
