"""Keeps an eye on the demo from a process of its own, and ends the demo's parts when the demo is over.

Its standard input is a pipe that only the demo holds open. However the demo ends, by Ctrl-C, by its own last line
or by a kill that it cannot answer, the operating system closes that pipe; the keeper then ends every process group
that it was told of, newest first, and removes the demo's folder. There is no other way of ending, so the ordinary
end tries out the hard one every time.

Standard library only, so that it is there within a blink.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import sys
import threading
from collections.abc import Iterable
from typing import Final

WATCH: Final = "watch"
FOLDER: Final = "folder"
LEAVE_S: Final = 5.0
"""How long a part may take to leave in good order."""
_LOOK_AGAIN_S: Final = 0.05
_REST: Final = threading.Event()


def main() -> int:
    """Read lines ``watch GROUP`` and ``folder PATH`` until the input ends, then clear up."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    groups: list[int] = []
    folders: list[str] = []
    for line in sys.stdin:
        word, _, value = line.rstrip("\n").partition(" ")
        if word == WATCH:
            groups.append(int(value))
        elif word == FOLDER:
            folders.append(value)
    end_groups(reversed(groups))
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)
    return 0


def end_groups(groups: Iterable[int], leave_s: float = LEAVE_S) -> None:
    """End one group after the other: asked first, killed when it does not leave."""
    for group in groups:
        if not _signal(group, signal.SIGTERM) or _gone_within(group, leave_s):
            continue
        _signal(group, signal.SIGKILL)
        _gone_within(group, leave_s)


def _gone_within(group: int, seconds: float) -> bool:
    for _ in range(round(seconds / _LOOK_AGAIN_S)):
        if not _signal(group, 0):
            return True
        _REST.wait(_LOOK_AGAIN_S)
    return False


def _signal(group: int, number: int) -> bool:
    """Send a signal; False when nobody is left to take it."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(group, number)
        return True
    return False


if __name__ == "__main__":
    raise SystemExit(main())
