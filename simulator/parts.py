"""The programs that a demo is made of: child processes, each in a group of its own, each with a log.

Ctrl-C at a terminal reaches only the demo itself, which ends its parts in order through the keeper.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Self, TypeVar

from simulator import keeper
from simulator.clock import wall_now_ms

T = TypeVar("T")

ROOT: Final = Path(__file__).parents[1]
"""Where the packages lie, installed or not."""
LAST_LINES: Final = 12
_LOOK_AGAIN_S: Final = 0.1


class DemoError(Exception):
    """Why the demo cannot go on, in words for the person who started it."""


class Stopped(Exception):  # noqa: N818 - nothing went wrong
    """Somebody asked the demo to end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One running program."""

    name: str
    process: subprocess.Popen[bytes]
    log: Path

    def last_lines(self) -> str:
        """What it said last."""
        lines = self.log.read_text(errors="replace").splitlines()[-LAST_LINES:]
        return "\n".join(f"    {line}" for line in lines)


class Parts:
    """All parts of one demo. Use as a context manager: leaving it ends them.

    What they write goes to a folder that is removed with them. It is their working folder too, so that no
    settings file of whoever starts the demo is read.
    """

    folder: Path

    def __init__(self, stop: threading.Event) -> None:
        self.stop = stop
        self._parts: list[Part] = []

    def __enter__(self) -> Self:
        self.folder = Path(tempfile.mkdtemp(prefix="houseband-demo-"))
        self._keeper = subprocess.Popen(  # noqa: S603 - fixed words
            [sys.executable, "-m", keeper.__name__],
            stdin=subprocess.PIPE,
            env=environment({}),
            cwd=ROOT,
            start_new_session=True,
        )
        self._tell_keeper(f"{keeper.FOLDER} {self.folder}")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._keeper.stdin is not None  # noqa: S101 - it was opened with a pipe
        self._keeper.stdin.close()
        rest = threading.Event()
        while self._keeper.poll() is None:
            for part in self._parts:
                part.process.poll()  # lets go of one that has ended: the keeper waits for that
            rest.wait(_LOOK_AGAIN_S)
        for part in self._parts:
            if part.process.poll() is None:  # something ended the keeper
                os.killpg(part.process.pid, signal.SIGKILL)
                part.process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)

    def start(self, name: str, command: Sequence[str], extra: Mapping[str, str] | None = None) -> Part:
        """Start a program in its own process group; its words go to ``<name>.log``."""
        path = self.folder / f"{name}.log"
        with path.open("ab") as log:
            process = subprocess.Popen(  # noqa: S603 - our own parts
                command,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                env=environment(extra or {}),
                cwd=self.folder,
                start_new_session=True,
            )
        self._tell_keeper(f"{keeper.WATCH} {process.pid}")
        part = Part(name=name, process=process, log=path)
        self._parts.append(part)
        return part

    def check(self) -> None:
        """Raise when somebody asked us to stop, or when a part has ended by itself."""
        if self.stop.is_set():
            raise Stopped
        for part in self._parts:
            if (code := part.process.poll()) is not None:
                raise DemoError(
                    f"the {part.name} ended by itself (exit {code}); it said last:\n{part.last_lines()}"
                )

    def wait_for(self, look: Callable[[], T | None], *, within_s: float, what: str) -> T:
        """Look again and again until there is something to see.

        Raises:
            DemoError: it did not come in time, or a part ended.
            Stopped: somebody asked us to stop.
        """
        deadline_ms = wall_now_ms() + within_s * 1000
        while (seen := look()) is None:
            self.check()
            if wall_now_ms() > deadline_ms:
                raise DemoError(f"{what}: not within {within_s:g} s\n{self._last_words()}")
            self.rest()
        self.check()
        return seen

    def rest(self) -> None:
        """Wait a moment before looking again."""
        self.stop.wait(_LOOK_AGAIN_S)

    def _last_words(self) -> str:
        return "\n".join(
            f"the {part.name} said last:\n{part.last_lines() or '    nothing'}" for part in self._parts
        )

    def _tell_keeper(self, line: str) -> None:
        assert self._keeper.stdin is not None  # noqa: S101 - it was opened with a pipe
        self._keeper.stdin.write(f"{line}\n".encode())
        self._keeper.stdin.flush()


def environment(extra: Mapping[str, str]) -> dict[str, str]:
    """What parts find in their environment: ours, without anybody's Houseband settings, and ``extra``.

    They speak only to each other, so a proxy set for this machine is passed by.
    """
    mine = {name: value for name, value in os.environ.items() if not name.startswith("HOUSEBAND_")}
    path = os.pathsep.join(filter(None, (str(ROOT), mine.get("PYTHONPATH"))))
    return {**mine, "PYTHONPATH": path, "PYTHONUNBUFFERED": "1", "NO_PROXY": "*", "no_proxy": "*", **extra}
