"""The files of check values in ``tests/reference``, and which test uses which row of them.

A test that is parametrised by rows is found by its parameters. One that goes over several rows at once says which:
``@uses(*ROWS)``. A module that leaves rows out on purpose says why: ``LEFT_OUT = {"file.csv": why}``, where
``why`` returns a reason, or nothing for a row that must be used.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any, Final, TypeAlias, TypeVar

from tests.house_measures import ROOT

Row: TypeAlias = dict[str, str]
Test = TypeVar("Test", bound=Callable[..., object])

FOLDER: Final = Path(__file__).parents[1] / "reference"
_USED: Final = "rows_used"
_LEFT_OUT: Final = "LEFT_OUT"


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
    rows_by_file = _rows_by_file()
    return tuple(
        use
        for path, module in _modules()
        for name, test in vars(module).items()
        if name.startswith("test_")
        for use in _uses_of(path, name, test, rows_by_file)
    )


@cache
def rows_left_out() -> Mapping[str, tuple[tuple[str, Row], ...]]:
    """By file, the rows that no test uses, each behind the reason that a test's module gives."""
    rows_by_file = _rows_by_file()
    return {
        file: tuple((reason, row) for row in rows_by_file[file] if (reason := why(row)))
        for _, module in _modules()
        for file, why in getattr(module, _LEFT_OUT, {}).items()
    }


def _rows_by_file() -> dict[str, list[Row]]:
    return {path.name: rows_of(path.name) for path in sorted(FOLDER.glob("*.csv"))}


@cache
def _modules() -> tuple[tuple[Path, ModuleType], ...]:
    """The test modules that have to do with these files."""
    found = []
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        if "reference" in text and any(file.name in text for file in FOLDER.glob("*.csv")):
            inside = path.relative_to(ROOT)
            found.append((inside, import_module(".".join(inside.with_suffix("").parts))))
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
