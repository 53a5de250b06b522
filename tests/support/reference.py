"""The files of check values in ``tests/reference``, and which test uses which row of them.

A test that is parametrised by rows is found by its parameters. One that goes over several rows at once says which:
``@uses(*ROWS)``.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, Final, TypeAlias, TypeVar

from tests.house_measures import ROOT

Row: TypeAlias = dict[str, str]
Test = TypeVar("Test", bound=Callable[..., object])

FOLDER: Final = Path(__file__).parents[1] / "reference"
_USED: Final = "rows_used"


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One test, and the rows of one file that it checks."""

    file: str
    path: Path
    test: str
    rows: tuple[Row, ...]

    @property
    def sentence(self) -> str:
        """The test's name as the sentence it is."""
        return self.test.removeprefix("test_").replace("_", " ")


def rows_of(file: str) -> list[Row]:
    """All rows of a file in ``tests/reference``."""
    with (FOLDER / file).open(encoding="utf-8", newline="") as opened:
        return list(csv.DictReader(opened))


def uses(*rows: Row) -> Callable[[Test], Test]:
    """Say which rows a test goes over that is not parametrised by them."""

    def say(test: Test) -> Test:
        setattr(test, _USED, rows)
        return test

    return say


@cache
def uses_of_rows() -> tuple[Use, ...]:
    """Every use of a row by a test of the project, by path and in the order of the module."""
    rows_by_file = {path.name: rows_of(path.name) for path in sorted(FOLDER.glob("*.csv"))}
    found: list[Use] = []
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        if "reference" not in text or not any(file in text for file in rows_by_file):
            continue
        module = import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
        for name, test in vars(module).items():
            if name.startswith("test_"):
                found += _uses_of(path.relative_to(ROOT), name, test, rows_by_file)
    return tuple(found)


def _uses_of(path: Path, name: str, test: object, rows_by_file: Mapping[str, list[Row]]) -> Iterator[Use]:
    held = {frozenset(value.items()) for value in _held_by(test)}
    for file, rows in rows_by_file.items():
        used = tuple(row for row in rows if frozenset(row.items()) in held)
        if used:
            yield Use(file=file, path=path, test=name, rows=used)


def _held_by(test: object) -> Iterator[Row]:
    """Rows among the parameters of a test, and those it says that it uses."""
    yield from getattr(test, _USED, ())
    for mark in getattr(test, "pytestmark", ()):
        if mark.name == "parametrize":
            yield from _rows_in(mark.args[1])


def _rows_in(value: Any) -> Iterator[Row]:
    if isinstance(value, dict):
        if all(isinstance(part, str) for part in value.values()):
            yield value
    elif isinstance(value, list | tuple):
        for part in getattr(value, "values", value):
            yield from _rows_in(part)
