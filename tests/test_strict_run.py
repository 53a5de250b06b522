"""``make test STRICT=1`` fails on any skip, and an ordinary run does not."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house_measures import ROOT

PASSES = "def test_passes() -> None:\n    pass\n"
SKIPS = "import pytest\n\n\ndef test_needs_something() -> None:\n    pytest.skip('no such thing here')\n"
SKIPS_WHOLE = "import pytest\n\npytest.skip('no such thing here', allow_module_level=True)\n"


def _run(folder: Path, content: str, *, strict: str) -> subprocess.CompletedProcess[str]:
    (folder / "test_passing.py").write_text(PASSES)
    (folder / "test_inner.py").write_text(content)
    (folder / "conftest.py").write_text((ROOT / "tests" / "conftest.py").read_text())
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-ra",
        "-p",
        "no:cacheprovider",
        "--rootdir",
        str(folder),
        str(folder),
    ]
    environment = os.environ | {"TESTS_STRICT": strict, "PYTHONPATH": str(ROOT)}
    return subprocess.run(command, cwd=folder, env=environment, check=False, capture_output=True, text=True)


@pytest.mark.parametrize("content", [SKIPS, SKIPS_WHOLE], ids=["test", "module"])
def test_a_skip_fails_a_strict_run_and_is_named(tmp_path: Path, content: str) -> None:
    done = _run(tmp_path, content, strict="1")

    assert done.returncode == 1
    assert "no such thing here" in done.stdout
    assert "1 skipped, and STRICT=1 allows none" in done.stdout


def test_a_skip_does_not_fail_an_ordinary_run_but_is_named(tmp_path: Path) -> None:
    done = _run(tmp_path, SKIPS, strict="")

    assert done.returncode == 0
    assert "no such thing here" in done.stdout


def test_a_strict_run_without_skips_passes(tmp_path: Path) -> None:
    assert _run(tmp_path, "", strict="1").returncode == 0
