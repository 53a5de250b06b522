"""The measures of the house: lengths, names, places, and words that do not belong.

They are the project's own rules, so there is no outside source to check them against.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from tests.house_measures import ROOT, file_lengths, function_lengths, house_files, python_files

pytestmark = pytest.mark.pure

LONGEST_FILE = 400
LONGEST_FUNCTION = 40

# A name ("path" or "path::function") with the reason why it may be longer. Empty at best.
LONGER_WITH_REASON: dict[str, str] = {}

# A migration lists what one step does to the tables, and is never changed after: nobody maintains it.
FROZEN = Path("migrations/versions")

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "Makefile", "pyproject.toml", "docker-compose.yml",
    "service", "rules", "migrations", "tests", "simulator",
    # What tools insist on finding here.
    "Dockerfile", "hatch_build.py", "package.json", "package-lock.json", "requirements.lock",
}  # fmt: skip

NOT_A_NAME = {"util", "utils", "helper", "helpers", "common", "manager", "managers"}

# What rules may import: computing, never input, output, clock, zone or chance.
RULES_MAY_IMPORT = {
    "__future__", "abc", "bisect", "collections", "copy", "dataclasses", "enum", "fractions", "functools",
    "hashlib", "heapq", "itertools", "math", "numpy", "operator", "re", "rules", "statistics", "tomllib",
    "types", "typing",
}  # fmt: skip

# Spelled in pieces, so that this file does not hold what it forbids. Each with the files that may say it.
FORBIDDEN: dict[str, set[str]] = {
    r"\bTO" + r"DO\b": set(),
    r"\bFIX" + r"ME\b": set(),
    r"unittest\." + r"mock": {"pyproject.toml"},  # where it is banned
    r"registry\." + r"npmjs": set(),
    r"py" + r"pi\.org": set(),
    r"pythonhosted" + r"\.org": set(),
    r"(?<![\w.])/wo" + r"rk/": set(),
    r"(?<![\w.])/ro" + r"ot/": set(),
    r"(?<![\w.])/ho" + r"me/\w": set(),
    r"/tm" + r"p/hb": set(),
    r"seed doc" + r"ument": set(),
    r"\b(job-map|engineering-" + r"notes|design|style)\.md\b": set(),
}


def test_no_file_is_longer_than_a_person_reads_in_one_sitting() -> None:
    assert [name for name in _files_too_long() if name not in LONGER_WITH_REASON] == []


def test_no_function_is_longer_than_a_screen() -> None:
    assert [name for name in _functions_too_long() if name not in LONGER_WITH_REASON] == []


def test_every_exception_is_still_needed() -> None:
    assert set(LONGER_WITH_REASON) <= {*_files_too_long(), *_functions_too_long()}


def test_package_files_hold_a_docstring_and_exports_only() -> None:
    packages = [path for path in python_files() if path.name == "__init__.py"]

    assert [str(path) for path in packages if not all(map(_is_export, _body(path)))] == []


def test_no_module_has_a_name_that_says_nothing() -> None:
    assert [str(path) for path in python_files() if NOT_A_NAME & set(path.stem.split("_"))] == []


def test_test_folders_are_not_packages() -> None:
    assert [str(path) for path in python_files() if path.parts[0] == "tests" and path.name == "__init__.py"] == []


def test_rules_import_nothing_that_acts() -> None:
    foreign = {
        f"{path}: {name}"
        for path in python_files()
        if path.parts[0] == "rules"
        for name in _imported(path)
        if name.split(".")[0] not in RULES_MAY_IMPORT
    }

    assert foreign == set()


def test_rules_open_and_print_nothing() -> None:
    called = {
        f"{path}:{node.lineno}"
        for path in python_files()
        if path.parts[0] == "rules"
        for node in ast.walk(_tree(path))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in {"open", "print", "input"}
    }

    assert called == set()


def test_the_top_level_holds_only_what_belongs_there() -> None:
    top = {path.parts[0] for path in house_files()}

    assert {name for name in top if not name.startswith(".")} - TOP_LEVEL == set()


@pytest.mark.parametrize("pattern", FORBIDDEN)
def test_no_file_says_what_does_not_belong(pattern: str) -> None:
    found = [
        f"{path}:{number}: {line.strip()[:80]}"
        for path in house_files()
        if str(path) not in FORBIDDEN[pattern]
        for number, line in enumerate(_lines(path), start=1)
        if re.search(pattern, line)
    ]

    assert found == []


def test_the_npm_lock_names_no_host() -> None:
    """Versions and checksums only, so that any mirror serves."""
    assert "resolved" not in (ROOT / "package-lock.json").read_text()


def _files_too_long() -> list[str]:
    return [one.name for one in file_lengths(_maintained()) if one.lines > LONGEST_FILE]


def _functions_too_long() -> list[str]:
    return [one.name for one in function_lengths(_maintained()) if one.lines > LONGEST_FUNCTION]


def _maintained() -> list[Path]:
    return [path for path in python_files() if FROZEN not in path.parents]


def _body(path: Path) -> list[ast.stmt]:
    return _tree(path).body


def _is_export(node: ast.stmt) -> bool:
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
    if isinstance(node, ast.Assign):
        return [getattr(target, "id", "") for target in node.targets] == ["__all__"]
    return isinstance(node, ast.ImportFrom)


def _imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(node.module or ".")
    return names


def _tree(path: Path) -> ast.Module:
    return ast.parse((ROOT / path).read_text(encoding="utf-8"), filename=str(path))


def _lines(path: Path) -> list[str]:
    """The lines of a text file; nothing of a picture."""
    content = (ROOT / path).read_bytes()
    return [] if b"\0" in content else content.decode("utf-8", errors="replace").splitlines()
