"""How long files and functions are. Run as a script it prints the figures; test_house.py sets the limits."""

from __future__ import annotations

import ast
import statistics
import subprocess
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A file or function: ``path`` or ``path::name``, and its lines from first to last."""

    name: str
    lines: int


def house_files(root: Path = ROOT) -> list[Path]:
    """Everything git tracks or would track, as paths relative to the top."""
    # The clone may belong to another user than the one who tests, as on build machines.
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=root, check=True, capture_output=True, text=True).stdout
    return sorted(Path(name) for name in set(listed.split("\0")) if name and (root / name).is_file())


def python_files(root: Path = ROOT) -> list[Path]:
    """The Python files among them."""
    return [path for path in house_files(root) if path.suffix == ".py"]


def file_lengths(paths: Iterable[Path], root: Path = ROOT) -> list[Measured]:
    """Lines of each file."""
    return [Measured(name=str(path), lines=len(_read(root / path).splitlines())) for path in paths]


def function_lengths(paths: Iterable[Path], root: Path = ROOT) -> list[Measured]:
    """Lines of each function and method, docstring included, decorators not."""
    return [
        Measured(name=f"{path}::{name}", lines=(node.end_lineno or node.lineno) - node.lineno + 1)
        for path in paths
        for name, node in _functions(ast.parse(_read(root / path), filename=str(path)))
    ]


def _functions(tree: ast.AST, within: str = "") -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for node in ast.iter_child_nodes(tree):
        name = within
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            name = f"{within}.{node.name}" if within else node.name
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield name, node
        yield from _functions(node, name)


def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def _line(title: str, measured: list[Measured]) -> str:
    if len(measured) < 2:
        return f"{title:<20}{len(measured):>8}"
    lengths = [one.lines for one in measured]
    ninetieth = statistics.quantiles(lengths, n=10, method="inclusive")[-1]
    longest = max(measured, key=lambda one: one.lines)
    figures = (len(lengths), statistics.median(lengths), ninetieth, longest.lines)
    return f"{title:<20}{''.join(f'{figure:>8.0f}' for figure in figures)}  {longest.name}"


def _report() -> str:
    files = python_files()
    tests = [path for path in files if path.parts[0] == "tests"]
    source = [path for path in files if path not in tests]
    return "\n".join(
        [
            f"{'lines per':<20}{'count':>8}{'median':>8}{'p90':>8}{'longest':>8}",
            _line("source file", file_lengths(source)),
            _line("source function", function_lengths(source)),
            _line("test file", file_lengths(tests)),
            _line("test function", function_lengths(tests)),
        ]
    )


if __name__ == "__main__":
    sys.stdout.write(_report() + "\n")
