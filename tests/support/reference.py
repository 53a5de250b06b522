"""The files of check values in ``tests/reference``, and which test uses which row of them.

A test that is parametrised by rows is found by its parameters. One that goes over several rows at once says which:
``@uses(*ROWS)``.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Final, TypeAlias, TypeVar

Row: TypeAlias = dict[str, str]
Test = TypeVar("Test", bound=Callable[..., object])

FOLDER: Final = Path(__file__).parents[1] / "reference"
USED: Final = "rows_used"
"""The attribute of a test that holds the rows named by :func:`uses`."""


def rows_of(file: str) -> list[Row]:
    """All rows of a file in ``tests/reference``."""
    with (FOLDER / file).open(encoding="utf-8", newline="") as opened:
        return list(csv.DictReader(opened))


def uses(*rows: Row) -> Callable[[Test], Test]:
    """Say which rows a test goes over that is not parametrised by them."""

    def say(test: Test) -> Test:
        setattr(test, USED, rows)
        return test

    return say
