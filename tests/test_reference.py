"""The check values: every row has a basis and a test, and the page about them says what is so.

They hold values from outside the project; that each is used, and by which test, is its own rule.
"""

from __future__ import annotations

import pytest

from tests.reference.make_table import BASES, FILES, README, table
from tests.support.reference import FOLDER, rows_left_out, rows_of, uses_of_rows

pytestmark = pytest.mark.pure

FILE_NAMES = [file.name for file in FILES]


def test_every_file_is_on_the_page() -> None:
    assert sorted(FILE_NAMES) == sorted(path.name for path in FOLDER.glob("*.csv"))


@pytest.mark.parametrize("name", FILE_NAMES)
def test_every_row_says_how_far_to_trust_it_and_where_it_is_from(name: str) -> None:
    for row in rows_of(name):
        assert row["basis"] in BASES
        assert row.get("source") or row.get("source_id")


@pytest.mark.parametrize("name", FILE_NAMES)
def test_every_row_is_used_by_a_test_or_left_out_with_a_reason(name: str) -> None:
    used = {tuple(row.values()) for use in uses_of_rows() if use.file == name for row in use.rows}
    left_out = {tuple(row.values()) for _, row in rows_left_out().get(name, ())}
    assert not used & left_out
    unused = [row for row in rows_of(name) if tuple(row.values()) not in used | left_out]
    assert unused == [], "parametrise a test by these rows, or name them with @uses of tests.support.reference"


def test_the_page_is_up_to_date() -> None:
    assert README.read_text(encoding="utf-8") == table(), "run: python -m tests.reference.make_table"
