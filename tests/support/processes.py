"""Whether processes are still running."""

from __future__ import annotations

import subprocess


def runs(pid: int) -> bool:
    """Say whether a process runs. One that has ended and whose parent never asked after it does not."""
    listed = subprocess.run(["ps", "-o", "stat=", "-p", str(pid)], check=False, capture_output=True, text=True)
    return bool(listed.stdout.strip()) and not listed.stdout.startswith("Z")


def running_with(words: str) -> list[str]:
    """Command lines of running processes that contain ``words``."""
    listed = subprocess.run(["ps", "-eo", "pid=,stat=,args="], check=True, capture_output=True, text=True)
    rows = (line.split(None, 2) for line in listed.stdout.splitlines())
    return [" ".join(row) for row in rows if len(row) == 3 and words in row[2] and not row[1].startswith("Z")]
