"""What ``make`` says to somebody who has just cloned this and lacks something."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.house_measures import ROOT

VERBS = ("demo", "test", "check", "bench", "fix", "lock")

OLD_PYTHON = """#!/bin/sh
if [ "$1" = --version ]; then echo Python 3.9.2; else exit 1; fi
"""
# New enough, but Debian's split left out what makes environments, and there is no pip either.
BARE_PYTHON = """#!/bin/sh
case "$2" in *version_info*) exit 0 ;; *) exit 1 ;; esac
"""


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """A folder that holds only the Makefile: nothing beyond the first step can happen here."""
    shutil.copy(ROOT / "Makefile", tmp_path)
    for name in ("pyproject.toml", "requirements.lock", "package-lock.json", "hatch_build.py"):
        (tmp_path / name).touch()
    return tmp_path


def _make(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["make", *arguments], cwd=folder, check=False, capture_output=True, text=True)


def _stand_in(folder: Path, script: str) -> str:
    python = folder / "stand-in"
    python.write_text(script)
    python.chmod(0o755)
    return f"PYTHON={python}"


def test_make_alone_lists_its_verbs_and_sets_nothing_up(clone: Path) -> None:
    done = _make(clone)

    assert done.returncode == 0
    assert [verb for verb in VERBS if f"make {verb} " not in done.stdout] == []
    assert not (clone / ".venv").exists()


def test_an_old_python_is_named_with_what_is_needed(clone: Path) -> None:
    done = _make(clone, "test", _stand_in(clone, OLD_PYTHON))

    assert done.returncode != 0
    assert "needs Python 3.11 or newer" in done.stdout
    assert "Python 3.9.2" in done.stdout
    assert "make test PYTHON=" in done.stdout


def test_a_missing_venv_module_is_named_with_the_package_to_install(clone: Path) -> None:
    done = _make(clone, "demo", _stand_in(clone, BARE_PYTHON))

    assert done.returncode != 0
    assert "apt-get install python3-venv" in done.stdout
    assert not (clone / ".venv").exists()


def test_a_whole_run_asks_for_every_branch_of_the_rules_and_a_partial_one_does_not() -> None:
    whole, part = (_make(ROOT, "--dry-run", "test", given).stdout for given in ("ARGS=", "ARGS=tests/service"))

    assert "-m covers --cov" in whole
    assert "and not covers" in whole
    assert "cov" not in part
    assert "-m 'pure and not slow' tests/service" in part
