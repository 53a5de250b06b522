"""Whether processes are still running."""

from __future__ import annotations

import subprocess
from pathlib import Path


def runs(pid: int) -> bool:
    """Say whether a process runs. One that has ended and whose parent never asked after it does not."""
    listed = subprocess.run(["ps", "-o", "stat=", "-p", str(pid)], check=False, capture_output=True, text=True)
    return bool(listed.stdout.strip()) and not listed.stdout.startswith("Z")


def with_setting(setting: str) -> list[str]:
    """Running processes that have ``setting`` (NAME=value) in their environment. Linux keeps it readable."""
    found = []
    for environment in Path("/proc").glob("[0-9]*/environ"):
        try:
            if setting.encode() in environment.read_bytes().split(b"\0"):
                found.append((environment.parent / "cmdline").read_text().replace("\0", " "))
        except OSError:
            continue  # it has just ended, or is not ours to look at
    return found
